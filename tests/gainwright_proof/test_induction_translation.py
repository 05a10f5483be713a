"""The SMT translation is held against the reference, and a limit is said, not met for ever."""

from __future__ import annotations

import tomllib

import pytest

from gainwright.language.expression import Operator
from gainwright.language.load import trial_from_document
from gainwright.language.model import Trial
from gainwright_proof.induction import expression
from gainwright_proof.induction.prove import prove
from gainwright_proof.induction.step import StepEncoding
from gainwright_proof.induction.terms import StepTerms
from gainwright_proof.induction.translation import translation_finding
from gainwright_proof.verdict import Finding, Verdict

from ..shared.cut import cut_trial
from ..shared.small_trial import SMALL


def translated(trial: Trial) -> Finding:
    step = StepEncoding(trial)
    return translation_finding(step, StepTerms(step), "z3")


def test_the_translation_of_the_shipped_trial_agrees():
    found = translated(cut_trial())
    assert found.verdict is Verdict.TESTED
    assert found.figures["ticks"] == 6 * len(cut_trial().states)


@pytest.mark.parametrize(
    ("operator", "text"),
    [
        (Operator.GREATER_EQUAL, "bvsgt"),
        (Operator.LESS, "bvsle"),
        (Operator.OR, "xor"),
        (Operator.IMPLIES, "="),
        (Operator.ADD, "bvsub"),
        (Operator.ADD, "bvor"),
    ],
)
def test_an_operator_translated_as_another_is_noticed(monkeypatch, operator, text):
    monkeypatch.setitem(expression._APPLIED, operator, text)
    found = translated(cut_trial())
    assert found.verdict is Verdict.REFUTED
    assert "is translated otherwise than it is meant" in found.detail


def test_a_bound_of_two_thousand_million_ticks_is_unfinished_and_the_rest_is_proved():
    text = SMALL.replace('value = "top + 3"', "value = 2000000000").replace(
        '"patience + 1"', "2000000001"
    )
    text = text.replace('range = [0, "patience"]', "range = [-2147483648, 2147483646]")
    trial = trial_from_document(tomllib.loads(text), "wide.toml")
    found = {f.subject: f for f in prove(trial).findings}
    assert found["ends"].verdict is Verdict.UNFINISHED
    for name in ("raised_when_calm", "loud_drops", "result_below_limit", "single_hit/search"):
        assert found[name].verdict is Verdict.PROVED
