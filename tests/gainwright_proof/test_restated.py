"""A finding of a tool for C that holds says what its method writes, with its own figures."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gainwright_proof.c_checks.model_checking import HARNESSES, Verdict
from gainwright_proof.c_checks.report import SUBJECT, Outcome, all_noticed, finding
from gainwright_proof.c_checks.restated import is_own_text, restated
from gainwright_proof.methods import ABSTRACT_INTERPRETATION, MODEL_CHECKING, SANITIZERS
from gainwright_proof.verdict import Finding

OF_C = [
    *((h.subject, f"{MODEL_CHECKING} (ESBMC 8)") for h in HARNESSES if not h.needs_machine),
    ("gw_sequencer", f"{ABSTRACT_INTERPRETATION} (Frama-C 25, Eva)"),
    ("gw_sequencer", f"{MODEL_CHECKING} (ESBMC 8)"),
    ("sanitized_runs", f"{SANITIZERS} (cc, -fsanitize=undefined,address)"),
]
FIGURES = {"properties": 215, "statements_reached": 1496}


def made(subject, method):
    name = f"{SUBJECT}/{subject}"
    stated = Finding(name, method, Verdict.PROVED, "no alarm in 1496 of 1509 statements, seed 1,",
                     figures=FIGURES)  # fmt: skip
    return next(one for one in restated(stated) if one.subject == name)


@pytest.mark.parametrize(("subject", "method"), OF_C)
def test_what_a_method_writes_is_its_own(subject, method):
    assert is_own_text(made(subject, method))


@pytest.mark.parametrize(("subject", "method"), OF_C)
def test_whatever_is_changed_is_noticed(subject, method):
    own = made(subject, method)
    assert not is_own_text(replace(own, detail=f"{own.detail} And safe."))
    assert not is_own_text(replace(own, detail=own.detail[1:]))
    assert not is_own_text(replace(own, figures={**own.figures, "properties": 1}))
    other = Verdict.PROVED if own.verdict is Verdict.TESTED else Verdict.TESTED
    assert not is_own_text(replace(own, verdict=other))
    assert not is_own_text(replace(own, subject=f"{SUBJECT}/another"))


def test_the_digest_of_runs_is_any_digest_and_nothing_else():
    reset = next(h for h in HARNESSES if h.subject == "reset_as_specified")
    own = made(reset.subject, f"{MODEL_CHECKING} (ESBMC 8)")
    outcome = Outcome(Verdict.PROVED, "215 properties hold", {"properties": 215}, ("ab" * 32,))
    text = own.detail.split("inserted defects found in the same run: ")[1].removesuffix(".")
    digested = finding(reset.subject, own.method, reset.claim, outcome, all_noticed([]))
    digested = replace(digested, figures=own.figures, detail=digested.detail.replace(
        "same run: ", f"same run: {text}", 1))  # fmt: skip
    assert "program of the runs: " in digested.detail
    assert is_own_text(digested)
    assert not is_own_text(replace(digested, detail=digested.detail.replace("runs: ", "runs: no")))


def test_what_does_not_hold_may_say_why():
    own = made("sanitized_runs", SANITIZERS)
    assert is_own_text(replace(own, verdict=Verdict.UNFINISHED, detail="It does not compile."))
