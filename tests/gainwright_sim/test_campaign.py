"""Campaigns: the numbers wanted on a few axes; each can be missed; workers change nothing."""

from __future__ import annotations

import dataclasses
import json
from contextlib import suppress

import numpy as np
import pytest

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.campaign.families import FAMILIES
from gainwright_sim.campaign.report import family_report
from gainwright_sim.campaign.run import AxisResult, Benches, run_axes
from gainwright_sim.campaign.sampling import sample
from gainwright_sim.campaign.workers import share_out
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import rehearse

TRIAL = load_trial(shipped_trial_path("standard"))
GOOD = AxisResult(
    family="own", axis_seed=1, noise_seed=1, masses=2, outcome="finished", reason="verified",
    exact_limit=10.0, exact_frequency_hz=600.0, limit=10.2, limit_rung=60, highest_gain=10.2,
    result=5.0, limit_share=1.02, result_share=0.5, oscillation_of_limit=0.1, machine_time_s=20.0,
)  # fmt: skip


def met(results):
    return [goal.met for goal in family_report(results).goals]


def test_numbers_of_later_stages_can_be_missed():
    complete = dataclasses.replace(
        GOOD, integral_limit_share=1.02, integral_result_share=0.1, position_result_share=0.1,
        position_ended_by="top_rung", gain_margin_db=8.4, phase_margin_deg=38.0,
        peak_sensitivity=1.98,
    )  # fmt: skip
    assert len(met([complete])) == len(met([GOOD])) + 3 and all(met([complete]))
    for change in (
        {"integral_limit_share": 0.8}, {"gain_margin_db": 5.9}, {"phase_margin_deg": 34.0},
        {"peak_sensitivity": 2.2}, {"peak_sensitivity": None},
    ):  # fmt: skip
        assert not all(met([dataclasses.replace(complete, **change)])), change


def test_limits_on_random_axes_lie_within_the_band_of_the_design():
    # DESIGN section 5: within 0.94 to 1.06, oscillation below 0.15; `gainwright campaign` for more.
    # Of 60 noises, axis 1004 ends by noise with two; three of 120 such axes do.
    results = run_axes(TRIAL, range(1000, 1012), noise_offset=1000)
    for result in results:
        assert 0.94 <= result.limit_share <= 1.06, result.replay
        assert result.result_share <= 0.70, result.replay
        assert result.oscillation_of_limit < 0.15, result.replay
        assert not result.violations, result.replay
    assert all(met(results))


@pytest.mark.slow
def test_workers_change_nothing():
    family = FAMILIES["mixed"]
    alone = run_axes(TRIAL, range(12), family=family)
    assert run_axes(TRIAL, range(12), workers=2, family=family) == alone


@pytest.mark.parametrize(
    "seed", [pytest.param(0, marks=pytest.mark.slow), 1, pytest.param(2, marks=pytest.mark.slow)]
)
def test_mounted_axis_runs_like_one_that_was_compiled_in(seed):
    benches = Benches(TRIAL)
    with suppress(InputError):
        benches.mounted(sample(FAMILIES["mixed"], seed + 40))  # leaves its tables behind
    machine = sample(FAMILIES["mixed"], seed)
    try:
        compiled = Bench(TRIAL, machine)
    except InputError:
        with pytest.raises(InputError):
            benches.mounted(machine)
        return
    one, other = (rehearse(bench, 7) for bench in (compiled, benches.mounted(machine)))
    assert np.array_equal(one.log.signals, other.log.signals)
    assert np.array_equal(one.log.inputs, other.log.inputs)


@pytest.mark.parametrize(
    ("change", "goal"),
    [
        ({"outcome": "wrong_not_stable"}, 0),
        ({"outcome": "wrong_too_high", "result_share": 0.71}, 1),
        ({"outcome": "aborted"}, 2),
        ({"outcome": "fault_latched"}, 2),
        ({"outcome": "unfinished"}, 2),
        ({"outcome": "refused"}, 2),
        ({"outcome": "violated"}, 2),
        ({"limit_share": 1.07}, 3),
        ({"limit_share": 0.93}, 3),
        ({"outcome": "limited_by_noise", "limit": None, "limit_share": None}, 4),
        ({"oscillation_of_limit": 0.16}, 5),
        ({"oscillation_of_limit": 0.31}, 6),
        ({"machine_time_s": 101.0}, 7),
    ],
)
def test_each_goal_can_be_missed(change, goal):
    assert met([GOOD]) == [True] * 8
    bad = dataclasses.replace(GOOD, **change)
    assert not met([bad])[goal]
    report = family_report([GOOD, bad])
    if bad.wrong:
        assert report.wrong == (bad,)
    else:
        assert report.wrong == ()
        assert report.outside == (() if goal == 7 else (bad,))


def test_noise_below_the_limit_is_rightly_blamed():
    noisy = dataclasses.replace(
        GOOD, outcome="limited_by_noise", limit=None, limit_share=None, highest_gain=4.0
    )
    assert met([noisy]) == [True] * 8


def test_wrong_axes_come_worst_first_and_outcomes_with_their_reasons():
    bad = [
        dataclasses.replace(GOOD, outcome="wrong_too_high", result_share=share, axis_seed=seed)
        for seed, share in ((3, 0.8), (4, 0.9))
    ]
    lost = dataclasses.replace(GOOD, outcome="aborted", reason="axis_does_not_move")
    report = family_report([GOOD, *bad, lost, lost])
    assert [result.axis_seed for result in report.wrong] == [4, 3]
    assert report.outcomes["aborted"] == {"axis_does_not_move": 2}
    assert json.loads(json.dumps(report.as_json(), allow_nan=False))["family"] == "own"


def test_ratio_without_a_limit_counts_nowhere():
    none = dataclasses.replace(GOOD, limit=None, limit_share=None, outcome="no_onset")
    assert family_report([GOOD, none]).limit_share == (GOOD.limit_share,) * 9


def fails_at_three(item: int) -> int:
    if item == 3:
        raise ValueError("three")
    return item


@pytest.mark.parametrize("workers", [1, 2])
def test_error_in_one_piece_of_work_ends_all(workers):
    got = []
    with pytest.raises(ValueError, match="three"):
        got.extend(share_out(fails_at_three, range(500), workers))
