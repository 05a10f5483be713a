"""The requirements of the shipped trial notice every single-row change that makes a difference."""

from __future__ import annotations

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.mutants.judge import judge_mutants
from gainwright_proof.mutants.mutant import MutationKind
from gainwright_proof.mutants.report import MutantReport, Outcome, Stage

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def report() -> MutantReport:
    return judge_mutants(load_trial(shipped_trial_path()), workers=2)


def test_every_mutant_is_caught_or_equivalent_with_a_reason(report):
    left = report.of(Outcome.SURVIVED, Outcome.UNDECIDED)
    assert [judged.id for judged in left] == []
    assert [judged.id for judged in report.without_reason] == []
    assert report.unused == ()


def test_only_changes_that_cannot_matter_are_equivalent(report):
    equivalent = {kind for kind, counts in report.counts().items() if counts[Outcome.EQUIVALENT]}
    assert equivalent == {
        MutationKind.LITERAL_ADDED,
        MutationKind.LITERAL_DROPPED,
        MutationKind.ACTION_DROPPED,
        MutationKind.ACTION_DOUBLED,
        MutationKind.ACTION_OFF,
    }
    # A literal that is dropped or flipped, a row that goes elsewhere, a limit off by one, a timeout
    # removed: each of them matters.
    states, rows = len(report.trial.states), len(report.trial.rows)
    assert report.counts()[MutationKind.RETARGETED][Outcome.CAUGHT] == (states - 1) * rows


def test_comparison_decides_all_but_a_few(report):
    decided = report.decided_by()
    assert sum(decided.values()) == len(report.judged)
    assert decided[Stage.NONE] == 0
    # Where a wait is off, all that follows is out of the comparison: exploration ends it at once.
    assert decided[Stage.EXPLORED] < 60
