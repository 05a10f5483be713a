"""Random trials, some broken: verdicts by SMT against plain search over all moments and inputs."""

from __future__ import annotations

import pytest

from gainwright.language.model import Requirement, RequirementKind, Trial
from gainwright_proof.induction.examples import violated_in
from gainwright_proof.induction.prove import prove
from gainwright_proof.verdict import Verdict

from ..shared.cases import cases
from ..shared.explore_trials import random_trial
from .explore_by_hand import ByHand

SEEDS = cases((10,), slow=(1, 4, 5, 6, 9, 28, 31, 56))
SINGLE_HIT = "single_hit/"


def _true(requirement: Requirement, by_hand: ByHand) -> bool:
    """Whether a requirement holds, by visiting everything."""
    shown = by_hand.result.shown
    match requirement.kind:
        case RequirementKind.INITIAL | RequirementKind.INVARIANT | RequirementKind.STEP:
            return requirement.id not in shown
        case RequirementKind.REACHABLE:
            return requirement.id in shown
    reached = by_hand.holds(requirement.formula)
    waits = by_hand.waits(lambda node: reached[node])
    if requirement.kind is RequirementKind.BOUNDED:
        trigger = by_hand.holds(requirement.trigger)
        begun, within = [n for n in trigger if trigger[n]], requirement.within_ticks
    else:
        begun = list(by_hand.result.begun.get(requirement.id, {}))
        within = requirement.within_ticks - 1
    return all(waits[node] is not None and waits[node] <= within for node in begun)


def _check_counterexample(trial: Trial, found, by_hand: ByHand) -> None:
    trace = found.counterexample
    assert found.subject in violated_in(trial, trace)
    assert trace.from_power_on
    shortest = by_hand.result.shown.get(found.subject)
    if shortest is not None:
        assert len(trace.ticks) == shortest


@pytest.mark.parametrize("seed", SEEDS)
def test_verdicts_agree_with_plain_search(seed):
    trial = random_trial(seed)
    by_hand = ByHand(trial)
    explored = by_hand.explore()
    findings = {f.subject: f for f in prove(trial).findings}
    broken = {subject for subject in explored.shown if subject.startswith(SINGLE_HIT)}
    # A table may also fail at a moment that is not reachable, so the prover may know of more.
    failing = {
        s for s, f in findings.items() if s.startswith(SINGLE_HIT) and f.verdict is Verdict.REFUTED
    }
    assert broken <= failing
    decided = 0
    for requirement in trial.requirements:
        found = findings[requirement.id]
        if found.verdict is Verdict.PROVED:
            assert _true(requirement, by_hand), requirement.id
        if found.verdict is Verdict.REFUTED:
            assert not _true(requirement, by_hand), requirement.id
            if requirement.kind is not RequirementKind.REACHABLE:
                _check_counterexample(trial, found, by_hand)
        open_question = requirement.kind is RequirementKind.REACHABLE
        decided += open_question or found.verdict is not Verdict.UNFINISHED
    for subject in findings:
        if subject.startswith("row/"):
            assert subject.removeprefix("row/") not in explored.rows
    assert decided >= len(trial.requirements) - 2
