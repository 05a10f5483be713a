"""The requirements of the shipped trial notice every single-row change that makes a difference."""

from __future__ import annotations

import time

import pytest

from gainwright.language.load import load_trial
from gainwright.language.model import RequirementKind
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.mutants.mutant import MutationKind
from gainwright_proof.mutants.outcome import Fate, Stage
from gainwright_proof.mutants.report import MutantReport
from gainwright_proof.mutants.run import run_mutants

LONGEST_S = 600.0
"""On two processors; about 40 s of work."""


@pytest.fixture(scope="module")
def report() -> MutantReport:
    begun = time.monotonic()
    found = run_mutants(load_trial(shipped_trial_path()), workers=2)
    assert time.monotonic() - begun < LONGEST_S
    return found


def test_every_mutant_is_caught_or_equivalent_with_a_reason(report):
    left = report.of(Fate.SURVIVED, Fate.UNDECIDED, Fate.LISTED)
    assert [judged.id for judged in left] == []
    assert [judged.id for judged in report.without_reason] == []
    assert report.unused == ()


def test_only_changes_that_can_not_matter_are_equivalent(report):
    equivalent = {kind for kind, counts in report.counts().items() if counts[Fate.EQUIVALENT]}
    assert equivalent == {
        MutationKind.LITERAL_ADDED,
        MutationKind.ACTION_DROPPED,
        MutationKind.ACTION_OFF,
        MutationKind.ROWS_SWAPPED,
    }
    # A literal that is dropped or flipped, a row that goes elsewhere, a limit off by one, a timeout
    # removed: each of them matters.
    assert report.counts()[MutationKind.RETARGETED][Fate.CAUGHT] == 15 * len(report.trial.rows)


def test_equivalence_rests_on_invariants_that_are_proved(report):
    kinds = {requirement.id: requirement.kind for requirement in report.trial.requirements}
    assert report.rests_on
    assert all(kinds[name] is RequirementKind.INVARIANT for name in report.rests_on)


def test_every_means_decides_something(report):
    decided = report.decided_by()
    assert all(
        decided[stage]
        for stage in (Stage.GRAPH, Stage.TABLE, Stage.ONE_TICK, Stage.SOLVER, Stage.EXPLORED)
    )
    assert sum(decided.values()) == len(report.judged)
