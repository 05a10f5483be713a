"""Where a speed loop can oscillate at all: the exact limits of random axes lie nowhere else."""

from __future__ import annotations

import dataclasses
import math

import pytest

from gainwright.detector.timing import (
    DriveTiming,
    drive_lag_rad,
    frequency_of_lag_hz,
    lowest_oscillation_frequency_hz,
)
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.axis_c.tables import axis_tables
from gainwright_sim.campaign.families import FAMILIES
from gainwright_sim.campaign.sampling import sample
from gainwright_sim.machine import Machine
from gainwright_sim.rig.axis import axis_data
from gainwright_sim.theory.stages import SPEED_GAIN

TRIAL = load_trial(shipped_trial_path("gentle"))
INTEGRAL_DEG = 4.0
"""The integral part lags a little more, and moves all frequencies down by as much."""


def lag_deg(machine: Machine, frequency_hz: float) -> float:
    return math.degrees(drive_lag_rad(axis_data(machine).timing, frequency_hz))


@pytest.mark.parametrize(
    ("family", "first"), [("mixed", 500200), ("resonance", 50), ("timing", 50)]
)
def test_no_limit_lies_where_the_lag_of_the_drive_lets_none_be(family: str, first: int) -> None:
    """Passive mechanics: the phase of the plant is within 90 degrees either way."""
    for seed in range(first, first + 25):
        machine = sample(FAMILIES[family], seed)
        lag = lag_deg(machine, SPEED_GAIN.limit(machine).frequency_hz) % 360.0
        assert 90.0 - INTEGRAL_DEG < lag < 270.0, seed


@pytest.mark.parametrize(("family", "seed"), [("mixed", 500203), ("timing", 2312068)])
def test_a_resonance_may_oscillate_beyond_a_whole_turn(family: str, seed: int) -> None:
    """The limit of these axes lies above any band that ends at a lag of 270 degrees.

    So the band has a second part, and between both no crossing counts.
    """
    machine = sample(FAMILIES[family], seed)
    timing, limit_hz = axis_data(machine).timing, SPEED_GAIN.limit(machine).frequency_hz
    assert 450.0 < lag_deg(machine, limit_hz) < 630.0
    response = axis_tables(TRIAL, axis_data(machine))[0].response
    assert response is not None
    gap_hz = [
        response.line_hz(line, timing.control_tick_s)
        for line in (response.gap_from, response.gap_to)
    ]
    assert gap_hz[0] < gap_hz[1] < frequency_of_lag_hz(timing, 2.5 * math.pi) < limit_hz
    assert limit_hz < response.line_hz(response.last_line, timing.control_tick_s)


@pytest.mark.parametrize("delay", [1, 2, 3])
def test_frequency_of_a_lag_without_filters(delay: int) -> None:
    """A difference of positions, a held torque and d whole ticks lag by d + 1 ticks."""
    timing = DriveTiming(125e-6, delay, 0.0, 0.0)
    assert lowest_oscillation_frequency_hz(timing) == pytest.approx(2000.0 / (delay + 1))
    expected = min(6000.0 / (delay + 1), 4000.0)
    assert frequency_of_lag_hz(timing, 1.5 * math.pi) == pytest.approx(expected)


def test_the_test_signal_ends_where_no_loop_oscillates() -> None:
    """A tenth above it, whatever the trial says; a slow speed filter leaves what the trial says."""
    machine = sample(FAMILIES["own"], 11)
    timing = axis_data(machine).timing
    response = axis_tables(TRIAL, axis_data(machine))[0].response
    assert response is not None
    assert response.gap_from == response.gap_to == response.last_line
    ends_hz = response.line_hz(response.last_line, timing.control_tick_s)
    assert ends_hz == pytest.approx(1.1 * frequency_of_lag_hz(timing, 1.5 * math.pi), rel=0.01)
    drive = dataclasses.replace(machine.drive, speed_filter_time_constant_s=2e-3)
    slow = axis_data(dataclasses.replace(machine, drive=drive))
    filtered = axis_tables(TRIAL, slow)[0].response
    assert filtered is not None
    lowest_hz = lowest_oscillation_frequency_hz(slow.timing)
    ends_hz = filtered.line_hz(filtered.last_line, slow.timing.control_tick_s)
    assert ends_hz == pytest.approx(4.7 * lowest_hz, rel=0.03)
