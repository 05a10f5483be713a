"""Units of drives, rules of thumb and the swinging load, against figures of the sources."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.swing import LoadSwing
from gainwright_sim.rehearsal.units import rule_lines, unit_lines

SLIDE = load_machine("grinder-slide")


def test_position_gain_in_metres_per_minute_and_millimetre():
    """SOURCES 2.3: 1 (m/min)/mm = 16.667 1/s; 1 m/s at Kv 50 lags by 20 mm."""
    (line,) = unit_lines(SLIDE, {"position_gain": 50.0})
    assert "3 (m/min)/mm" in line and "20 mm" in line


def test_integral_rate_as_reset_time():
    assert next(iter(unit_lines(SLIDE, {"integral_rate": 200.0}))).startswith(
        "integral time (reset time) 5 ms"
    )
    assert not list(unit_lines(SLIDE, {"integral_rate": 0.0}))


def test_speed_gain_per_unit_and_per_revolution():
    """Rated 11 N m at 314 rad/s: 0.03503 N m s/rad per unit; 2 pi/60 rad/s per 1/min."""
    (line,) = unit_lines(SLIDE, {"speed_gain": 1.0})
    assert f"{314.0 / 11.0:.4g} per unit" in line
    assert f"{2.0 * np.pi / 60.0:.4g} N m/(1/min)" in line


def test_symmetric_optimum_of_the_rigid_body():
    """SOURCES 2.1: Kp = T/(2 K Ts), Tn = 4 Ts; two ticks and a current loop of 120 us: 0.37 ms."""
    drive = dataclasses.replace(SLIDE.drive, current_loop_time_constant_s=120e-6)
    machine = dataclasses.replace(SLIDE, drive=drive)
    (line,) = rule_lines(machine)
    gain = machine.chain.total_inertia_kgm2 / (2.0 * 0.37e-3)
    assert f"speed gain {gain:.4g} N m s/rad" in line and "integral time 1.48 ms" in line


@pytest.mark.parametrize(("motor", "hidden"), [(0.02, True), (0.08, False)])
def test_swinging_load_is_said_to_be_hidden_where_the_motor_hardly_moves(motor, hidden):
    words = LoadSwing(load_share=0.2, motor_share=motor).in_words()
    assert ("hardly" in words) is hidden
