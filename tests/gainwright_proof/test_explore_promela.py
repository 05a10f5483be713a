"""A second model checker judges the same trials: same states, same verdicts."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gainwright.language.load import trial_from_document
from gainwright.language.model import RequirementKind
from gainwright_proof.exploration import explore
from gainwright_proof.exploration.benchmark import compare, report
from gainwright_proof.exploration.shortened import shortened_trial
from gainwright_proof.exploration.vacuity import premises
from gainwright_proof.exploration.vectors import vectors_by_state
from gainwright_proof.inserted_defects.small import KEPT, small_document
from gainwright_proof.second_checker import promela
from gainwright_proof.second_checker.check import MOST_VECTORS
from gainwright_proof.second_checker.promela import Offer, promela_model, seen, taken
from gainwright_proof.second_checker.spin import QUICK_FLAGS, SpinError, spin_version, verify
from gainwright_proof.verdict import Verdict

from ..shared.cases import cases
from ..shared.explore_trials import random_trial

SLOW = pytest.mark.slow
pytestmark = [
    pytest.mark.usefixtures("scratch_cache"),
    pytest.mark.skipif(spin_version() is None, reason="spin is not installed"),
]

TIMED = (RequirementKind.BOUNDED, RequirementKind.RESPONSE)


def small(divisor, *requirements):
    """The shipped trial with times divided, and a few requirements besides those named."""
    document = small_document(divisor, (*KEPT, *requirements))
    return trial_from_document(document, "small")


def checked(trial, timed="", offer=Offer.VALUATIONS):
    model = promela_model(trial, vectors_by_state(trial, MOST_VECTORS), timed=timed, offer=offer)
    return verify(model, depth=1_000_000, flags=QUICK_FLAGS)


def expected_messages(trial, exploration):
    """What the verifier says if it agrees with the explorer, requirements without time only."""
    verdicts = {finding.subject: finding.verdict for finding in exploration.findings}
    for state in trial.states:
        if verdicts[f"single_hit/{state.name}"] is Verdict.REFUTED:
            yield f"table_{state.name}"
    for number, row in enumerate(trial.rows):
        if verdicts[f"row/{row.id}"] is Verdict.PROVED:
            yield taken(number)
    for requirement in trial.requirements:
        verdict = verdicts[requirement.id]
        if requirement.kind is RequirementKind.REACHABLE and verdict is Verdict.PROVED:
            yield f"reached_{requirement.id}"
        elif requirement.kind not in (*TIMED, RequirementKind.REACHABLE) and (
            verdict is Verdict.REFUTED
        ):
            yield f"broken_{requirement.id}"


def compare_with_spin(trial, offer=Offer.VALUATIONS):
    exploration = explore(trial, premises=True)
    result = checked(trial, offer=offer)
    assert result.complete
    assert result.stored_states == exploration.figures.nodes
    reported = [name for name in result.reported if not name.startswith("seen_")]
    assert reported == sorted(expected_messages(trial, exploration))
    compare_premises(trial, exploration, result)
    return result


def compare_premises(trial, exploration, result):
    """What one sees of a premise the other does not call vacuous. (Inputs are offered that matter
    to whole requirements: a premise alone may stay unseen.)"""
    vacuous = {f.subject for f in exploration.premises if f.figures.get("vacuous")}
    for number, requirement in enumerate(trial.requirements):
        wanted = {seen(number, part) for part, _ in enumerate(premises(requirement))}
        if wanted and wanted <= set(result.reported):
            assert f"premise/{requirement.id}" not in vacuous


@pytest.mark.parametrize(
    "offer",
    [Offer.VALUATIONS, *(pytest.param(o, marks=SLOW) for o in (Offer.ENOUGH, Offer.FREE))],
)
@pytest.mark.parametrize("seed", cases([9], slow=[0, 8, 15]))
def test_random_trials(seed, offer):
    compare_with_spin(random_trial(seed), offer)


# Every valuation is offered in random trials: of the shipped one they are so many that spin alone
# takes minutes to read the model.
@pytest.mark.slow
def test_long_parts_of_a_model_are_split_between_statements(monkeypatch):
    """spin reads 64 KiB of an inline at most, which the gentle trial exceeds."""
    monkeypatch.setattr(promela, "LONGEST_INLINE", 300)
    trial = random_trial(8)
    model = promela_model(trial, vectors_by_state(trial, MOST_VECTORS))
    assert model.count("inline judge_moment_") > 1 and model.count("inline judge_tick_") > 1
    compare_with_spin(trial)


@pytest.mark.parametrize(("divisor", "offer"), [(1000, Offer.DISTINCT), (50, Offer.ENOUGH)])
@pytest.mark.slow
def test_shipped_trial_with_shorter_times(divisor, offer):
    """All requirements where few inputs are offered, a few where more are: all free ones are
    1.7e9 in each state, and those of every valuation 135 million ticks."""
    every = offer is Offer.ENOUGH
    result = compare_with_spin(shortened_trial(divisor) if every else small(divisor), offer)
    assert not [name for name in result.reported if name.startswith(("broken_", "table_"))]


@pytest.mark.slow
def test_inserted_bug():
    trial = small(100, "no_torque_without_drive_and_feedback")
    rows = tuple(
        replace(row, target="stop_axis") if row.id == "fault@detect" else row for row in trial.rows
    )
    result = compare_with_spin(replace(trial, rows=rows), Offer.ENOUGH)
    assert "broken_no_torque_without_drive_and_feedback" in result.reported


@pytest.mark.slow
def test_enough_is_less_and_says_the_same():
    """What is offered where situations are known leaves out vectors, no rows and no states."""
    trial = small(1000)
    distinct, enough = (checked(trial, offer=offer) for offer in (Offer.DISTINCT, Offer.ENOUGH))
    assert enough.transitions < 0.7 * distinct.transitions
    assert (enough.stored_states, enough.reported) == (distinct.stored_states, distinct.reported)


@pytest.mark.parametrize(
    ("seed", "name"), cases([(9, "response0")], slow=[(2, "bounded0"), (11, "bounded1")])
)
def test_time_of_random_trials(seed, name):
    trial = random_trial(seed)
    verdicts = {finding.subject: finding.verdict for finding in explore(trial).findings}
    broken = f"broken_{name}" in checked(trial, timed=name).reported
    assert broken is (verdicts[name] is Verdict.REFUTED)


@pytest.mark.parametrize("late", [False, True])
@pytest.mark.slow
def test_time_of_the_shipped_trial(late):
    """The bound of the whole trial is sharp for spin too: one tick less and it is violated."""
    trial = small(1000)
    requirements = tuple(
        replace(r, within_ticks=r.within_ticks - late) if r.id == "trial_ends" else r
        for r in trial.requirements
    )
    result = checked(replace(trial, requirements=requirements), timed="trial_ends")
    assert result.complete
    assert ("broken_trial_ends" in result.reported) is late


@pytest.mark.slow
def test_speed_beside_spin():
    comparison = compare(shortened_trial(10), repeats=1)
    print(report(comparison))
    assert comparison.spin is None, "so many valuations make no model"
    assert comparison.spin_reduced.stored_states == comparison.figures.nodes
    # Much less than is measured: how long something takes is no test.
    assert comparison.ratio(comparison.spin_reduced) > 1


def test_a_model_that_spin_refuses():
    with pytest.raises(SpinError, match="Error: undeclared variable"):
        verify("active proctype p() { nonsense nonsense }", depth=100)
