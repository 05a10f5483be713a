"""The speed loop at the two classical optima: load steps, margins, and margins read from a step.

Plant: an integrator J behind one lag Ts (the current loop). Modulus optimum: Kp = J / (2 Ts);
symmetric optimum: the same with Tn = 4 Ts (Kessler 1958, from memory). Load steps in M Ts / J
are computed (exact linear responses to 1e-4). The symmetric optimum crosses over at 1 / (2 Ts) with
atan 2 - atan 1/2 = 36.87 degrees: any textbook of drives.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from gainwright_sim.machine import Chain, Friction
from gainwright_sim.plant.axis import DiscreteAxis
from gainwright_sim.plant.loop import DriveLoop
from gainwright_sim.theory.closed_loop import machine_loop
from gainwright_sim.theory.margins import margins

from ..gainwright_sim.test_rig_loop import PLAIN

LAG_S = 0.02
TICK_S = LAG_S / 1000.0
INERTIA_KGM2 = 1e-3
LOAD_NM = 0.1
GAIN = INERTIA_KGM2 / (2.0 * LAG_S)


def optimum(integral_time_s: float, load_nm: float = 0.0):
    """A rigid axis, without friction, at one of the optima."""
    drive = dataclasses.replace(
        PLAIN.drive,
        control_tick_s=TICK_S,
        current_loop_time_constant_s=LAG_S,
        speed_source="sensor",
    )
    loop = dataclasses.replace(
        PLAIN.speed_loop,
        start_speed_gain_nms_per_rad=GAIN,
        integral_time_s=integral_time_s,
        hold_gain_per_s=0.0,
    )
    return dataclasses.replace(
        PLAIN,
        chain=Chain((INERTIA_KGM2,), (), ()),
        friction=Friction(constant_load_torque_nm=load_nm),
        drive=drive,
        speed_loop=loop,
    )


def responses(machine, reference: float, lags: float):
    """Return (time / Ts, true speed, speed error) of a run from rest."""
    axis = DiscreteAxis(machine)
    loop = DriveLoop(machine, axis, ideal=True)
    lines = []
    for _ in range(round(lags * LAG_S / TICK_S)):
        sample = loop.tick(speed_reference_rad_per_s=reference)
        lines.append((axis.state[1], sample.speed_error_rad_per_s))
    speed, error = np.array(lines).T
    return (np.arange(len(speed)) + 1) * TICK_S / LAG_S, speed, error


def test_load_step_at_the_symmetric_optimum():
    time, speed, _ = responses(optimum(4.0 * LAG_S, LOAD_NM), 0.0, 25.0)
    scaled = speed * INERTIA_KGM2 / (LOAD_NM * LAG_S)
    scaled *= np.sign(scaled[100])
    peak, lowest = int(scaled.argmax()), int(scaled.argmin())
    assert scaled[peak] == pytest.approx(1.7703, rel=0.003)
    assert time[peak] == pytest.approx(3.089, rel=0.01)
    assert scaled[lowest] == pytest.approx(-0.2195, rel=0.03)
    assert time[lowest] == pytest.approx(10.957, rel=0.01)


def test_load_step_at_the_modulus_optimum():
    time, speed, _ = responses(optimum(0.0, LOAD_NM), 0.0, 20.0)
    scaled = np.abs(speed) * INERTIA_KGM2 / (LOAD_NM * LAG_S)
    assert scaled.max() == pytest.approx(2.1340, rel=0.003)
    assert time[scaled.argmax()] == pytest.approx(4.7124, rel=0.01)
    assert scaled[-1] == pytest.approx(2.0, rel=1e-3)


def test_margins_of_the_symmetric_optimum():
    machine = optimum(4.0 * LAG_S)
    found = margins(machine_loop(machine, "speed_gain"), GAIN)
    assert found.phase_deg == pytest.approx(36.87, abs=0.1)
    assert found.peak_sensitivity == pytest.approx(exact_peak(), rel=0.005)


def exact_peak() -> float:
    """Ms of L = (1 + 4 s) / (8 s^2 (1 + s)), s in units of 1 / Ts."""
    s = 1j * np.geomspace(0.01, 100.0, 20001)
    return float(np.max(np.abs(1.0 / (1.0 + (1.0 + 4.0 * s) / (8.0 * s**2 * (1.0 + s))))))


def test_margins_read_from_the_speed_error_after_a_step():
    """The error after a step of its reference is the step response of 1 / (1 + L)."""
    _, _, error = responses(optimum(4.0 * LAG_S), 1.0, 40.0)
    omega = np.geomspace(0.1, 3.0, 60) / LAG_S
    turns = np.exp(-1j * TICK_S * np.outer(omega, np.arange(len(error))))
    sensitivity = (1.0 - np.exp(-1j * omega * TICK_S)) * (turns @ error)
    loop = 1.0 / sensitivity - 1.0
    at = int(np.flatnonzero(np.abs(loop) > 1.0)[-1])
    share = (abs(loop[at]) - 1.0) / (abs(loop[at]) - abs(loop[at + 1]))
    crossing = loop[at] + share * (loop[at + 1] - loop[at])
    assert math.degrees(np.angle(-crossing)) == pytest.approx(36.87, abs=0.4)
    assert omega[at] * LAG_S == pytest.approx(0.5, rel=0.07)
    assert np.abs(sensitivity).max() == pytest.approx(exact_peak(), rel=0.01)
