"""The complete trial on shipped machines: three gains, each held against exact theory."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.summary import summarise
from gainwright_sim.rehearsal.words import summary_lines
from gainwright_sim.theory.stages import STAGE_THEORY

TRIAL = load_trial(shipped_trial_path("complete"))


@pytest.fixture(scope="module", params=["grinder-slide", "glaze-gantry"])
def rehearsal(request):
    return rehearse(Bench(TRIAL, load_machine(request.param)), seed=1)


@pytest.fixture(scope="module")
def summary(rehearsal):
    return summarise(rehearsal)


def test_it_finds_three_gains_and_says_what_limits_each(summary):
    assert summary.outcome == "finished"
    assert [stage.ended_by for stage in summary.stages[:2]] == ["onset", "onset"]
    assert summary.stages[2].ended_by in ("overshoot", "residual_vibration", "top_rung")
    words = "\n".join(summary_lines(summary))
    assert "exact margins" in words and "none" in words


def test_limits_that_end_by_onset_are_the_exact_ones(summary):
    for stage in summary.stages[:2]:
        assert 0.94 <= stage.theory.limit_share <= 1.06


def test_margins_of_all_three_gains_together(summary):
    """At least 6 dB, 35 degrees, Ms at most 2.1: less than what the trial asks for (8, 40, 2.0)."""
    assert summary.margins.gain_db >= 6.0
    assert summary.margins.phase_deg >= 35.0
    assert summary.margins.peak_sensitivity <= 2.1


def test_results_are_shares_of_the_limits_as_stated(summary):
    speed, integral, position = summary.stages
    assert speed.result / speed.limit == pytest.approx(1.045**-25, rel=1e-3)
    assert integral.result / integral.limit == pytest.approx(1.045**-53, rel=1e-3)
    assert position.result / position.ended_at == pytest.approx(1.12**-8, rel=1e-2)


def test_gains_found_are_held_while_later_ones_are_tuned(rehearsal, summary):
    for number, stage in enumerate(summary.stages):
        later = np.flatnonzero(rehearsal.output("active_stage") > number)
        for tick in later[:: max(1, len(later) // 50)]:
            assert rehearsal.settings(int(tick))[stage.stage] == stage.result
    first = rehearsal.settings(0)
    assert first["position_gain"] == summary.stages[2].start


def test_exact_limits_are_those_with_the_held_gains(rehearsal, summary):
    speed, integral, position = summary.stages
    held = {"speed_gain": speed.result, "position_gain": position.start}
    exact = STAGE_THEORY["integral_rate"].limit(rehearsal.machine, held)
    assert integral.theory.limit == pytest.approx(exact.gain, rel=1e-9)


def test_integral_torque_is_carried_over_at_each_change_of_gain(rehearsal):
    """One rung up, far below the limit, the torque stays what it was but for noise and motion."""
    torque = rehearsal.log.signal("measured_torque")
    changes = np.flatnonzero(np.diff(rehearsal.output("integral_rate_rung")) > 0)
    jumps = np.abs(np.diff(torque))[changes]
    assert jumps[: len(jumps) // 2].max() < 0.05 * rehearsal.machine.drive.rated_torque_nm
