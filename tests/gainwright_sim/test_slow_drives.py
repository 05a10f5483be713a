"""Drives whose own lag is long: their blocks of listening are, and the trial waits for them."""

from __future__ import annotations

import dataclasses

import pytest

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.campaign.sampling import with_start_gain
from gainwright_sim.machine.model import Machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.summary import summarise
from gainwright_sim.theory import sample_axis
from gainwright_sim.theory.stages import SPEED_GAIN

TRIAL = load_trial(shipped_trial_path())


def slow(speed_filter_s: float) -> Machine:
    """Return an axis with a drive of 1 kHz, two ticks and 2.3 ms late, and a filter as given."""
    machine = sample_axis(2)
    lag = {
        "control_tick_s": 1e-3, "torque_delay_ticks": 2,
        "current_loop_time_constant_s": 2.3e-3, "speed_filter_time_constant_s": speed_filter_s,
    }  # fmt: skip
    machine = dataclasses.replace(machine, drive=dataclasses.replace(machine.drive, **lag))
    alone = dataclasses.replace(machine.speed_loop, integral_time_s=0.0, hold_gain_per_s=0.0)
    limit = SPEED_GAIN.limit(dataclasses.replace(machine, speed_loop=alone)).gain
    return with_start_gain(machine, limit / 10.0, 0.05)


@pytest.mark.slow
def test_a_slow_drive_is_listened_to_for_as_long_as_it_needs():
    summary = summarise(rehearse(Bench(TRIAL, slow(3e-3), changeable=True), 1))
    assert summary.outcome == "finished"
    assert summary.stages[0].theory.limit_share == pytest.approx(1.0, abs=0.06)
    assert summary.stages[0].theory.result_share < 0.7


def test_a_drive_that_no_time_of_the_trial_suits_is_refused_with_the_time_it_needs():
    with pytest.raises(InputError, match=r"detector blocks of(.|\n)*raise listen_timeout_ticks to"):
        Bench(TRIAL, slow(3e-2))
