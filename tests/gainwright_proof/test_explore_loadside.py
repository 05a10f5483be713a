"""Trial loadside, explored as a whole: everything is proved, and counts are what they must be."""

from __future__ import annotations

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.exploration import explore
from gainwright_proof.verdict import Verdict

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def explored():
    trial = load_trial(shipped_trial_path("loadside"))
    return trial, explore(trial)


def heard(trial) -> int:
    """Return in how many ways a measurement can begin: number, gain and speed.

    A gain that was heard is the result if it lies the margin below the limit, or a rung less. So
    the gain changes by two rungs or more, or downwards; with one decay alone by the first climb.
    """
    constant = trial.constant
    rungs = range(constant("top_rung") - constant("margin_rungs") + 1)
    found = {(0, 0, False)}
    for number in range(constant("last_measurement")):
        for before, rung, slower in [one for one in found if one[0] == number]:
            found.add((before + 1, rung, not slower))
            near = range(rung, rung + constant("result_slack_rungs") + 1)
            found |= {(before + 1, to, slower) for to in rungs if to not in near}
    return len(found)


def test_everything_is_proved(explored):
    trial, exploration = explored
    assert exploration.complete
    tested = {f.subject for f in exploration.findings if f.verdict is not Verdict.PROVED}
    assert tested == {"exported_code_one_step", "questions_as_written"}
    subjects = {finding.subject for finding in exploration.findings}
    assert subjects >= {requirement.id for requirement in trial.requirements}


def test_counts_follow_from_times_and_ladder(explored):
    trial, exploration = explored
    constant, counts = trial.constant, exploration.nodes_by_state
    ways = heard(trial)
    shakes = constant("last_shake") + 1
    assert counts["shake"] == ways * shakes * (constant("shake_timeout_ticks") + 1)
    assert counts["judge"] == ways * (constant("judging_timeout_ticks") + 1)
    assert counts["approach"] == constant("approach_timeout_ticks") + 1
    assert exploration.figures.held < 100_000


def test_the_longest_trial_is_as_long_as_the_requirement_allows(explored):
    trial, exploration = explored
    within = {requirement.id: requirement.within_ticks for requirement in trial.requirements}
    assert exploration.longest_run_ticks == within["trial_ends"]
