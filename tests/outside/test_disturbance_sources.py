"""Torque, encoder and current imperfections against what their causes do, computed here.

Sources: Jahns and Soong 1996, IEEE Trans. Ind. Electron. 43:321 (ripple of EMF harmonics); Zhu and
Howe 2000, IEEE Trans. Energy Convers. 15:407 (cogging: least common multiple of slots and poles);
Heydemann 1981, Appl. Opt. 20:3382, and Birch 1990 (interpolation error of two signals); Chung and
Sul 1998, IEEE Trans. Ind. Appl. 34:340 (current offset and gain error). All from memory; the
numbers are computed from the physics.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from gainwright_sim.machine import Disturbances, Harmonic, Machine
from gainwright_sim.plant.disturbance import DisturbanceTorques, interpolated_angle

from ..gainwright_sim.test_rig_loop import PLAIN

PAIRS = 4
ANGLES = np.linspace(0.0, 2.0 * np.pi, 7200, endpoint=False)
"""One motor turn."""
THIRD = 2.0 * np.pi / 3.0


def disturbed(**values) -> Machine:
    return dataclasses.replace(PLAIN, disturbances=Disturbances(**values))


def spectrum(values) -> np.ndarray:
    """Return the amplitude of each order per turn; order 0 is the mean."""
    lines = np.abs(np.fft.rfft(values)) / len(values)
    lines[1:] *= 2.0
    return lines


def strong_orders(values, least: float = 1e-9) -> list[int]:
    return [int(order) for order in np.flatnonzero(spectrum(values) > least) if order > 0]


def motor_torque(machine: Machine, torque_nm: float):
    torques = DisturbanceTorques(machine)
    return np.array([torques.motor_nm(angle, torque_nm) for angle in ANGLES])


def test_emf_harmonics_make_ripple_of_six_per_electrical_period():
    """Fifth of 4 %, seventh of 2 %, sine current: amplitude e7 - e5 = 2.000 %, next order 12."""
    torque = np.zeros_like(ANGLES)
    for phase in (0.0, -THIRD, THIRD):
        x = PAIRS * ANGLES + phase
        emf = np.sin(x) + 0.04 * np.sin(5.0 * x) + 0.02 * np.sin(7.0 * x)
        torque += emf * np.sin(x) / 1.5
    assert spectrum(torque)[6 * PAIRS] == pytest.approx(0.02, rel=1e-12)
    assert strong_orders(torque) == [6 * PAIRS]
    ripple = motor_torque(disturbed(torque_ripple=(Harmonic(6.0 * PAIRS, 0.02),)), 5.0)
    assert spectrum(ripple / 5.0) == pytest.approx(spectrum(torque - torque.mean()), abs=1e-12)


@pytest.mark.parametrize(
    ("slots", "poles", "order", "goodness"),
    [(6, 4, 12, 2), (9, 6, 18, 3), (12, 8, 24, 4), (12, 10, 60, 2), (9, 8, 72, 1),
     (36, 4, 36, 4), (24, 20, 120, 4)],
)  # fmt: skip
def test_cogging_repeats_with_the_common_multiple_of_slots_and_poles(slots, poles, order, goodness):
    """Each slot opening sees each magnet edge alike; what does not repeat for all cancels."""
    assert math.lcm(slots, poles) == order and poles * slots // order == goodness
    assert goodness == math.gcd(slots, poles)
    torque = np.zeros_like(ANGLES)
    for slot in range(slots):
        x = poles * (ANGLES + 2.0 * np.pi * slot / slots)
        torque += sum(np.sin(k * x) / k for k in range(1, 25))
    orders = strong_orders(torque, least=1e-6)
    assert orders[0] == order and all(each % order == 0 for each in orders)
    rig = motor_torque(disturbed(cogging=(Harmonic(float(order), 0.01),)), 0.0)
    assert strong_orders(rig) == [order]
    assert spectrum(rig)[order] == pytest.approx(0.01 * PLAIN.drive.rated_torque_nm, rel=1e-9)


INTERPOLATION = (
    # offsets of both signals, amplitude ratio, phase, order, amplitude in per cent of a period
    ((0.01, 0.0), 1.0, 0.0, 1, 0.159155),
    ((0.01, 0.01), 1.0, 0.0, 1, 0.225079),
    ((0.0, 0.0), 1.01, 0.0, 2, 0.079182),
    ((0.0, 0.0), 1.05, 0.0, 2, 0.388183),
    ((0.0, 0.0), 1.0, math.radians(1.0), 2, 0.138892),
)


@pytest.mark.parametrize(("offsets", "ratio", "phase", "order", "percent"), INTERPOLATION)
def test_interpolation_error_of_two_imperfect_signals(offsets, ratio, phase, order, percent):
    """What the arctangent makes of them, and the same by the two keys of a description."""
    lines = 1
    x = ANGLES * lines
    sine, cosine = ratio * np.sin(x + phase) + offsets[0], np.cos(x) + offsets[1]
    error = (np.arctan2(sine, cosine) - x + np.pi) % (2.0 * np.pi) - np.pi
    share = error / (2.0 * np.pi)
    assert 100.0 * spectrum(share)[order] == pytest.approx(percent, abs=1e-5)
    key = "interpolation_first_order" if order == 1 else "interpolation_second_order"
    machine = disturbed(encoder_lines_per_turn=2048, **{key: percent / 100.0})
    period = 2.0 * np.pi / 2048
    angles = np.linspace(0.0, period, 4096, endpoint=False)
    ours = np.array([interpolated_angle(machine, angle) for angle in angles]) - angles
    assert 100.0 * spectrum(ours / period)[order] == pytest.approx(percent, rel=1e-6)
    assert strong_orders(ours / period, least=1e-8) == [order]


def measured_torque_current(offsets=(0.0, 0.0), gain: float = 0.0):
    """Return the torque-producing current that two sensors show for a true one of 1, over a turn.

    Third phase by the sum of the two; amplitude-invariant transformation.
    """
    x = PAIRS * ANGLES
    first = (1.0 + gain) * np.cos(x) + offsets[0]
    second = np.cos(x - THIRD) + offsets[1]
    alpha, beta = first, (first + 2.0 * second) / math.sqrt(3.0)
    return alpha * np.cos(x) + beta * np.sin(x)


@pytest.mark.parametrize(
    ("offsets", "percent"),
    [((0.01, 0.0), 1.154701), ((0.01, 0.01), 2.0), ((0.01, -0.01), 1.154701)],
)
def test_current_offset_ripples_once_per_electrical_period(offsets, percent):
    current = measured_torque_current(offsets)
    assert strong_orders(current) == [PAIRS]
    assert 100.0 * spectrum(current)[PAIRS] == pytest.approx(percent, abs=1e-5)


def test_current_offset_of_the_rig():
    machine = disturbed(current_offset_per_unit=0.01, motor_pole_pairs=PAIRS)
    ours = motor_torque(machine, 0.0) / PLAIN.drive.rated_torque_nm
    wanted = measured_torque_current((0.01, 0.0)) - 1.0
    assert spectrum(ours) == pytest.approx(spectrum(wanted), abs=1e-9)


def test_current_gain_error_ripples_twice_per_electrical_period():
    """1 % in one sensor: mean 0.5 %, ripple 0.577350 %; the rig's torque is too small by it."""
    wanted = measured_torque_current(gain=0.01) - 1.0
    assert 100.0 * wanted.mean() == pytest.approx(0.5, abs=1e-9)
    assert 100.0 * spectrum(wanted)[2 * PAIRS] == pytest.approx(0.577350, abs=1e-5)
    machine = disturbed(current_gain_error=0.01, motor_pole_pairs=PAIRS)
    ours = motor_torque(machine, 5.0) / 5.0
    assert ours.mean() == pytest.approx(-0.005)
    assert spectrum(ours)[1:] == pytest.approx(spectrum(wanted)[1:], abs=1e-9)
