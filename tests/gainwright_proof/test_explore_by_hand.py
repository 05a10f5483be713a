"""The explorer against every input vector of the Python reference, on random small trials."""

from __future__ import annotations

import pytest

from gainwright.language.expression import InState
from gainwright.language.model import RequirementKind
from gainwright_proof.exploration import confirms, explore, replay_run
from gainwright_proof.verdict import Verdict

from ..shared.cases import cases
from ..shared.explore_trials import random_trial
from .explore_by_hand import ByHand

pytestmark = pytest.mark.usefixtures("scratch_cache")

SEEDS = cases((11, 23), slow=(0, 2, 3, 6, 8, 9, 12, 15, 18))
"""Chosen for much to see: up to 90 nodes, circles, long waits, gaps and overlaps."""


def wait_of(longest: list[int | None]) -> int | None:
    return None if None in longest else max(longest, default=0)


@pytest.mark.parametrize("seed", SEEDS)
def test_same_as_by_hand(seed):
    trial = random_trial(seed)
    exploration = explore(trial)
    by_hand = ByHand(trial)
    boolean = by_hand.explore()
    assert exploration.complete
    assert exploration.figures.nodes == len(boolean.distance)
    assert exploration.figures.depth == max(boolean.distance.values())
    assert exploration.figures.edges == sum(map(len, boolean.successors.values()))
    assert {row for row, ticks in exploration.ticks_by_row.items() if ticks} == boolean.rows
    assert set(exploration.saturating) == boolean.saturating
    assert {
        (row, name) for row, names in exploration.single_misses.items()
        for name, seen in names.items() if seen
    } == boolean.misses  # fmt: skip
    findings = {finding.subject: finding for finding in exploration.findings}
    assert findings["exported_code_as_specified"].verdict is Verdict.PROVED
    for state in trial.states:
        subject = f"single_hit/{state.name}"
        check_shown(findings[subject], boolean.shown.get(subject))
    for row in trial.rows:
        taken = findings[f"row/{row.id}"].verdict is Verdict.PROVED
        assert taken is (row.id in boolean.rows)
    for requirement in trial.requirements:
        finding = findings[requirement.id]
        match requirement.kind:
            case RequirementKind.INITIAL | RequirementKind.INVARIANT | RequirementKind.STEP:
                check_shown(finding, boolean.shown.get(requirement.id))
            case RequirementKind.REACHABLE:
                reached = boolean.shown.get(requirement.id)
                assert finding.verdict is (Verdict.REFUTED if reached is None else Verdict.PROVED)
                assert finding.figures.get("ticks") == reached
            case RequirementKind.BOUNDED:
                triggered = by_hand.holds(requirement.trigger)
                starts = {n: d for n, d in boolean.distance.items() if triggered[n]}
                check_timed(by_hand, requirement, finding, starts, 0)
            case RequirementKind.RESPONSE:
                starts = boolean.begun.get(requirement.id, {})
                check_timed(by_hand, requirement, finding, starts, 1)
    stuck = by_hand.stuck()
    assert (findings["end_stays_reachable"].verdict is Verdict.PROVED) is (stuck == 0)
    ends = InState(tuple(state.name for state in trial.states if state.end))
    at_end = by_hand.holds(ends)
    assert exploration.longest_run_ticks == wait_of(list(by_hand.waits(at_end.get).values()))


def check_shown(finding, length):
    assert finding.verdict is (Verdict.PROVED if length is None else Verdict.REFUTED)
    assert finding.figures.get("ticks") == length


def check_timed(by_hand, requirement, finding, starts, counted):
    """``starts``: where the time runs, ``counted`` ticks of it gone, and how far from reset."""
    holds = by_hand.holds(requirement.formula)
    waits = by_hand.waits(holds.get)
    longest = wait_of([waits[node] for node in starts])
    within = requirement.within_ticks
    late = [
        distance + within - counted
        for node, distance in starts.items()
        if waits[node] is None or waits[node] + counted > within
    ]
    late = [d for d in late if d >= 0]
    assert finding.verdict is (Verdict.REFUTED if late else Verdict.PROVED)
    if not late:
        assert finding.figures["longest_ticks"] == longest + counted
    elif all(by_hand.result.successors.values()):
        assert finding.figures["ticks"] == min(late)


@pytest.mark.parametrize("seed", SEEDS)
def test_every_run_replays_in_reference_and_compiled_code(seed):
    trial = random_trial(seed)
    runs = explore(trial).runs
    for subject, run in runs.items():
        replay = replay_run(trial, run)
        stopped = bool(replay.not_single_hit_in) and not subject.startswith("single_hit/")
        assert stopped or confirms(trial, run, replay), subject
