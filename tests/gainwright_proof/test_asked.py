"""What the explorer asks is what the file says, at moments that no run comes to either."""

from __future__ import annotations

import tomllib

import pytest

from gainwright.language.load import trial_from_document
from gainwright_proof.exploration import explore, specialise
from gainwright_proof.exploration.rewrite import FALSE, TRUE
from gainwright_proof.exploration.subjects import AS_WRITTEN
from gainwright_proof.verdict import Verdict

from ..shared.small_trial import edited

TRIAL = trial_from_document(tomllib.loads(edited()), "small.toml")


def _said():
    (found,) = [f for f in explore(TRIAL).findings if f.subject == AS_WRITTEN]
    return found


def test_questions_are_those_of_the_file():
    found = _said()
    assert found.verdict is Verdict.TESTED, found.detail
    # Requirements that hold of every run fail at some moments that no run comes to.
    assert found.figures["requirements_told_apart"] >= len(TRIAL.requirements) // 2


@pytest.mark.parametrize("answer", [TRUE, FALSE], ids=["nothing", "everything"])
@pytest.mark.parametrize("name", ["over_tick", "at_moment"])
def test_a_question_that_lost_its_meaning_is_noticed(monkeypatch, name, answer):
    monkeypatch.setattr(specialise.Specialiser, name, lambda *_, **__: answer)
    found = _said()
    assert found.verdict is Verdict.REFUTED
    assert "asked otherwise than written" in found.detail
