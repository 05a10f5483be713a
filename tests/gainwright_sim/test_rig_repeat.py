"""The same axis ten times; and axes that cannot oscillate."""

from __future__ import annotations

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.benchmark.quiet_machines import (
    RUNGS,
    quiet_axis,
    run_all,
    run_seeds,
    short_ladder_trial,
)
from gainwright_sim.campaign.families import FAMILIES, OWN
from gainwright_sim.campaign.report import rate_bound
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.theory import sample_axis
from gainwright_sim.theory.stages import SPEED_GAIN

from ..shared.cases import cases

AXES = cases((0, 22), slow=(10, 11, 12, 29, 31))
"""Rigid, two and three masses; among the first forty axes those where the noise seed matters."""
NOISY = (11, 22, 29, 31)
"""With the disturbances of real axes, noise fills the torque here at the rung where onset is, or
just before it: either verdict is right, and either ends with a verified result."""


@pytest.fixture(scope="module")
def bench() -> Bench:
    return Bench(load_trial(shipped_trial_path()), sample_axis(0), changeable=True)


@pytest.mark.parametrize("axis_seed", AXES)
def test_ten_noise_seeds_end_on_the_same_rung_or_the_next(bench, axis_seed):
    """Design, section 5."""
    axis = sample_axis(axis_seed)
    bench.mount(axis)
    rungs: dict[str, list[int]] = {"finished": [], "limited_by_noise": []}
    for seed in range(10):
        rehearsal = rehearse(bench, seed)
        ends = [end for end in rungs if rehearsal.output(end)[-1]]
        assert rehearsal.ended and ends, f"seed {seed}"
        assert rehearsal.variable("verified")[-1], f"seed {seed}"
        rungs[ends[0]].append(int(rehearsal.variable("limit_rung")[-1]))
    assert rungs["finished"] and (axis_seed in NOISY or not rungs["limited_by_noise"]), rungs
    # Where noise and onset compete they are up to three rungs apart: 109 to 112 on axis 11; and
    # onset itself may differ by one rung more: 107 to 109 on axis 31. A limit by noise is a reserve
    # lower where noise had hidden the answers for long, which it does with some seeds only.
    reserve = bench.trial.constant("noise_reserve_rungs") if axis_seed in NOISY else 0
    for end, same in rungs.items():
        spread = (2 if axis_seed == 31 else 1) + (reserve if end == "limited_by_noise" else 0)
        assert not same or max(same) - min(same) <= spread, rungs
    both = rungs["finished"] + rungs["limited_by_noise"]
    assert max(both) - min(both) <= 3 + reserve, rungs
    ratio, start = bench.trial.stages[0].ratio, axis.speed_loop.start_speed_gain_nms_per_rad
    exact = SPEED_GAIN.limit(axis).gain
    low = 0.91 if axis_seed == 31 else 0.94  # one of its ten seeds ends a rung too early
    assert all(low <= start * ratio**rung / exact <= 1.06 for rung in rungs["finished"]), rungs
    assert all(start * ratio**rung / exact <= 1.06 for rung in rungs["limited_by_noise"]), rungs


@pytest.mark.parametrize("family", [pytest.param("own", marks=pytest.mark.slow), "resonance"])
def test_quiet_machines_never_report_onset(family):
    """Design, section 5: none in 10 000. Here 12; the rest by the command in the module."""
    results = run_all(FAMILIES[family], range(12), 0.8, workers=1)
    seen = [result for part in results for result in part]
    assert len(seen) == 12
    assert [result for result in seen if result.onset_rung is not None] == []
    assert sum(result.outcome == "no_onset" for result in seen) >= 11


def test_quiet_machine_ends_below_its_limit_and_an_oscillating_one_is_noticed():
    """The count of false onsets is no empty one: the same ladder, let above the limit, finds it."""
    trial = short_ladder_trial()
    axis = quiet_axis(OWN, 3, trial, top_share=0.8)
    stage = trial.stages[0]
    assert stage.rungs == RUNGS
    top = axis.speed_loop.start_speed_gain_nms_per_rad * stage.ratio ** (RUNGS - 1)
    assert top == pytest.approx(0.8 * SPEED_GAIN.limit(sample_axis(3)).gain)
    (oscillating,) = run_seeds(OWN, 1.15, [3])
    assert oscillating.onset_rung is not None and oscillating.onset_rung > 30


def test_workers_change_nothing():
    alone = [result for part in run_all(OWN, range(2), 0.8, workers=1) for result in part]
    shared = [result for part in run_all(OWN, range(2), 0.8, workers=2) for result in part]
    assert alone == shared


def test_rate_bound_is_that_of_clopper_and_pearson():
    """No event in n: 1 - (1 - confidence)^(1/n), about 3/n at 95 % (Hanley, Lippman-Hand 1983)."""
    assert rate_bound(0, 10_000) == pytest.approx(1.0 - 0.05**1e-4, rel=1e-9)
    assert rate_bound(0, 10_000) == pytest.approx(3e-4, rel=2e-3)
    assert rate_bound(5, 5) == 1.0
