"""Ultimate gain and frequency of textbook plants, continuous and sampled."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest

from gainwright_sim.machine import Chain, Friction
from gainwright_sim.theory import LoopTiming, speed_loop, stability_limit
from gainwright_sim.theory.ultimate import (
    TransferFunction,
    is_schur_stable,
    sampled_loop,
    ultimate_point,
)


def lags(*time_constants_s: float) -> np.ndarray:
    """Return the denominator prod (1 + T s)."""
    product = np.array([1.0])
    for time_constant_s in time_constants_s:
        product = np.polymul(product, [time_constant_s, 1.0])
    return product


# The batch of test plants of Astrom and Haegglund, "Advanced PID Control" (ISA 2006), ch. 7, and
# Ogata, "Modern Control Engineering", ch. 8 (cited from memory); values computed from the closed
# forms 1/(s+1)^n: tan(pi/n), 1/cos^n(pi/n), K e^(-sL)/s: pi/2L, pi/2KL, and numerically.
ULTIMATE_POINTS = {
    "1/(s+1)^3": (TransferFunction([1], lags(1, 1, 1)), 8, 1.732051),
    "1/(s+1)^4": (TransferFunction([1], lags(1, 1, 1, 1)), 4, 1),
    "1/(s+1)^8": (TransferFunction([1], lags(*[1] * 8)), 1.883984, 0.414214),
    "e^-s/s": (TransferFunction([1], [1, 0], 1.0), 1.570796, 1.570796),
    "e^-s/(1+s)": (TransferFunction([1], lags(1), 1.0), 2.261826, 2.028758),
    "e^-s/(1+10s)": (TransferFunction([1], lags(10), 1.0), 16.350554, 1.631995),
    "e^-s/(1+s)^2": (TransferFunction([1], lags(1, 1), 1.0), 2.707053, 1.306542),
    "1/(s+1)(1+0.1s)^2": (TransferFunction([1], lags(1, 0.1, 0.1)), 24.2, 10.954451),
    "prod 1/(1+0.5^i s)": (TransferFunction([1], lags(1, 0.5, 0.25, 0.125)), 6.75, 2.828427),
    "prod 1/(1+0.2^i s)": (TransferFunction([1], lags(1, 0.2, 0.04, 0.008)), 30.24, 11.180340),
    "e^-0.5s/s(1+0.5s)": (TransferFunction([1], [0.5, 1, 0], 0.5), 2.269829, 1.720667),
    "(1-s)/(s+1)^3": (TransferFunction([-1, 1], lags(1, 1, 1)), 2, 1),
    "1/s(s+1)(s+2)": (TransferFunction([1], [1, 3, 2, 0]), 6, 1.414214),
    "1/s(s+1)^2": (TransferFunction([1], [1, 2, 1, 0]), 2, 1),
    "1/s(s+1)(s+5)": (TransferFunction([1], [1, 6, 5, 0]), 30, 5**0.5),
}  # fmt: skip


@pytest.mark.parametrize("plant", ULTIMATE_POINTS)
def test_ultimate_point(plant):
    function, gain, frequency = ULTIMATE_POINTS[plant]
    point = ultimate_point(function)
    # The published figures are rounded to six decimals.
    assert point.gain == pytest.approx(gain, rel=1e-6)
    assert point.frequency_rad_per_s == pytest.approx(frequency, rel=1e-6, abs=6e-7)


def test_lightly_damped_mode_between_grid_points_is_found():
    """e^(-sL) w^2/(s (s^2 + 2 z w s + w^2)) with z = 1e-6: Routh gives K = 2 z w without delay."""
    ratio, natural = 1e-6, 37.123456
    plant = TransferFunction([natural**2], [1.0, 2 * ratio * natural, natural**2, 0.0])
    point = ultimate_point(plant)
    assert point.gain == pytest.approx(2 * ratio * natural, rel=1e-6)
    assert point.frequency_rad_per_s == pytest.approx(natural, rel=1e-9)


def test_plant_without_a_crossing_has_no_ultimate_gain():
    assert ultimate_point(TransferFunction([1], lags(1, 1))).gain == math.inf


def test_jury_examples():
    """Ogata, "Discrete-Time Control Systems", ch. 4 (cited from memory)."""
    stable = [Fraction(word) for word in ("1", "-1.2", "0.07", "0.3", "-0.08")]
    critical = [Fraction(word) for word in ("1", "-1.1", "-0.1", "0.2")]
    assert is_schur_stable(stable)
    assert np.sort(np.roots([float(c) for c in stable])) == pytest.approx([-0.5, 0.4, 0.5, 0.8])
    assert not is_schur_stable(critical)
    assert np.sort(np.roots([float(c) for c in critical])) == pytest.approx([-0.4, 0.5, 1.0])


# Ogata, "Discrete-Time Control Systems", ch. 4: 1/(s(s+1)), held input, Ts = 1 s, P control. The
# book prints 2.3925 and 1.3244 from coefficients of four digits (from memory).
SAMPLED_SERVO_GAIN = (1.0 - math.exp(-1.0)) / (1.0 - 2.0 * math.exp(-1.0))


def test_sampled_servo_as_a_transfer_function():
    e = math.exp(-1.0)
    loop = sampled_loop([e, 1.0 - 2.0 * e], np.polymul([1.0, -1.0], [1.0, -e]), 1.0)
    limit = stability_limit(loop, 0.01, 100.0)
    assert limit.gain == pytest.approx(2.392211, rel=1e-6)
    assert limit.gain == pytest.approx(SAMPLED_SERVO_GAIN, rel=1e-12)
    assert 2.0 * math.pi * limit.frequency_hz == pytest.approx(1.324394, rel=1e-6)
    assert limit.gain == pytest.approx(2.3925, rel=2e-4)
    for gain, verdict in ((0.999 * limit.gain, True), (1.001 * limit.gain, False)):
        polynomial = [1.0, -1.0 - e + gain * e, e + gain * (1.0 - 2.0 * e)]
        assert is_schur_stable(polynomial) is verdict


def test_sampled_servo_as_an_axis_under_position_control():
    """The same plant as a motor: J = 1, viscous friction 1, the speed gain times Kv = 1.

    Position control alone is the limit of a position gain far above the speed feedback; with d = 0
    the loop u = Kp (Kv (r - x) - w) has Kp Kv = K and Kp -> 0.
    """
    timing = LoopTiming(1.0, torque_delay_ticks=0, speed_source="sensor")
    friction = Friction(motor_viscous_nms_per_rad=1.0)
    much = 1e7
    loop = speed_loop(Chain((1.0,), (), ()), friction, timing, much)
    limit = stability_limit(loop, 0.01 / much, 100.0 / much)
    assert limit.gain * much == pytest.approx(SAMPLED_SERVO_GAIN, rel=1e-6)
