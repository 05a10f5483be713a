"""Findings of the second model checker: agree with ours on sound and on broken trials."""

from __future__ import annotations

import shutil
from functools import cache

import pytest

from gainwright.language.load import load_trial, trial_from_document
from gainwright.language.model import RequirementKind
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.exploration import explore
from gainwright_proof.exploration.short_waits import waits, with_short_waits
from gainwright_proof.exploration.vectors import vectors_by_state
from gainwright_proof.inserted_defects.small import small_document
from gainwright_proof.second_checker.check import AGREEMENT, MOST_VECTORS, second_checker
from gainwright_proof.second_checker.promela import seen, taken
from gainwright_proof.second_checker.spin import SpinResult
from gainwright_proof.verdict import Verdict

pytestmark = pytest.mark.slow


@cache
def small_trial():
    return trial_from_document(small_document(40), "small")


def verdicts(findings):
    return {finding.subject: finding.verdict for finding in findings}


@pytest.fixture(scope="module")
def explored():
    return explore(small_trial(), premises=True)


@pytest.mark.skipif(shutil.which("spin") is None, reason="spin is not installed")
def test_states_and_verdicts_agree_on_the_shipped_trial_in_short_form(explored):
    ours = verdicts((*explored.findings, *explored.premises))
    theirs = verdicts(second_checker(small_trial(), explored.short_wait_states))
    assert theirs.pop(AGREEMENT) is Verdict.PROVED
    assert len(theirs) > len(small_trial().states)
    assert theirs == {subject: ours[subject] for subject in theirs}
    wanted = {name for name in ours if name.startswith(("row/", "premise/"))}
    assert {name for name in wanted if theirs.get(name) is not Verdict.PROVED} == set()


@pytest.mark.skipif(shutil.which("spin") is None, reason="spin is not installed")
def test_other_count_is_said(explored):
    states = explored.short_wait_states
    (agreement, *_) = second_checker(small_trial(), states + 1)
    assert agreement.verdict is Verdict.REFUTED
    assert f"{states + 1:,}" in agreement.detail


@pytest.mark.parametrize("name", ["standard", "gentle"])
def test_inputs_that_matter_are_the_same_with_short_waits(name):
    """So those of the exploration are offered, and not searched for again."""
    trial = load_trial(shipped_trial_path(name))
    short = with_short_waits(trial, waits(trial))
    assert short.variables != trial.variables
    offered, wanted = (
        [state.vectors[: state.distinct] for state in vectors_by_state(each, MOST_VECTORS)]
        for each in (short, trial)
    )
    assert offered == wanted


def test_without_spin_it_was_not_run(monkeypatch):
    monkeypatch.setattr("gainwright_proof.second_checker.check.spin_version", lambda: None)
    (finding,) = second_checker(small_trial(), 5)
    assert finding.verdict is Verdict.NOT_RUN


@pytest.mark.parametrize(
    ("complete", "explored", "agreement", "silent"),
    [
        (True, 7, Verdict.PROVED, Verdict.PROVED),
        (False, 7, Verdict.UNFINISHED, Verdict.UNFINISHED),
        # Shortened waits may have lost states: what was not told proves nothing then.
        (True, None, Verdict.UNFINISHED, Verdict.UNFINISHED),
        (True, 8, Verdict.REFUTED, Verdict.UNFINISHED),
    ],
)
def test_verdicts_follow_from_what_was_told(monkeypatch, complete, explored, agreement, silent):
    broken = next(r.id for r in small_trial().requirements if r.kind is RequirementKind.INVARIANT)
    reached = next(r.id for r in small_trial().requirements if r.kind is RequirementKind.REACHABLE)
    told = (f"broken_{broken}", f"reached_{reached}", "table_move", taken(1), seen(0, 0))
    result = SpinResult(7, 9, told, 0.1, complete)
    monkeypatch.setattr("gainwright_proof.second_checker.check.spin_version", lambda: "0")
    monkeypatch.setattr("gainwright_proof.second_checker.check.verify", lambda *_, **__: result)
    found = verdicts(second_checker(small_trial(), explored))
    assert found[AGREEMENT] is agreement
    assert found[broken] is Verdict.REFUTED
    assert found[reached] is Verdict.PROVED
    assert found["single_hit/move"] is Verdict.REFUTED
    assert found["single_hit/idle"] is silent
    # A row that a whole search does not take is never taken.
    never = Verdict.REFUTED if silent is Verdict.PROVED else silent
    assert found[f"row/{small_trial().rows[0].id}"] is never
    assert found[f"row/{small_trial().rows[1].id}"] is Verdict.PROVED
