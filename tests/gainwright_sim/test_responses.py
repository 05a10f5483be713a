"""Responses of the linear loop, against the textbook's second order and the machine's own move."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from gainwright_sim.machine import Chain, Friction, load_machine
from gainwright_sim.theory.response import move_response, step_response

LAG_S = 0.02


def one_lag_machine():
    """A rigid axis whose P speed loop is one lag J / Kp of 20 ms, with hardly any delay."""
    machine = load_machine("positioning-bench")
    drive = dataclasses.replace(
        machine.drive, control_tick_s=62.5e-6, current_loop_time_constant_s=0.0
    )
    return dataclasses.replace(
        machine, chain=Chain((1e-3,), (), ()), friction=Friction(), drive=drive
    )


@pytest.mark.parametrize(("product", "overshoot"), [(0.25, 0.0), (0.5, 0.04321), (1.0, 0.16303)])
def test_step_of_the_position_loop(product, overshoot):
    """SOURCES 2.3: Kv T = 1/4, 1/2, 1: overshoot 0, 4.321, 16.303 %; KvT = 1/2 peaks at 2 pi T."""
    settings = {"speed_gain": 1e-3 / LAG_S, "integral_rate": 0.0, "position_gain": product / LAG_S}
    response = step_response(one_lag_machine(), settings, 0.6)
    assert response.motor_rad.max() - 1.0 == pytest.approx(overshoot, abs=4e-3)
    assert response.motor_rad[-1] == pytest.approx(1.0, abs=2e-3)
    if product == 0.5:
        peak_s = response.time_s[np.argmax(response.motor_rad)]
        assert peak_s == pytest.approx(2.0 * np.pi * LAG_S, rel=0.02)


@pytest.mark.parametrize("name", ["grinder-slide", "kiln-shuttle"])
def test_a_move_ends_where_it_should(name):
    machine = load_machine(name)
    settings = {"speed_gain": 10.0 * machine.speed_loop.start_speed_gain_nms_per_rad / 4.0,
                "integral_rate": 20.0, "position_gain": 10.0}  # fmt: skip
    distance = 0.5 * machine.motion.travel_window_rad
    response = move_response(machine, settings, distance, 1.0)
    assert response.reference_rad[-1] == pytest.approx(distance)
    assert response.motor_rad[-1] == pytest.approx(distance, rel=1e-2)
    assert np.abs(response.load_rad - response.reference_rad).max() < 0.1 * distance
