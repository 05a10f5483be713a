"""Ultimate gain and frequency of textbook plants, found by the limit that the trial is held to.

The ultimate point is the smallest positive gain K at which 1 + K G gets a root on the stability
boundary, and the frequency of that root (Ziegler and Nichols 1942, Trans. ASME 64:759).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright_sim.machine import Chain, Friction
from gainwright_sim.theory import LoopTiming, speed_loop, stability_limit

from ..shared.sampled_plants import sampled_loop


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
    "1/(s+1)^3": (([1], lags(1, 1, 1), 0), 8, 1.732051),
    "1/(s+1)^4": (([1], lags(1, 1, 1, 1), 0), 4, 1),
    "1/(s+1)^8": (([1], lags(*[1] * 8), 0), 1.883984, 0.414214),
    "e^-s/s": (([1], [1, 0], 1.0), 1.570796, 1.570796),
    "e^-s/(1+s)": (([1], lags(1), 1.0), 2.261826, 2.028758),
    "e^-s/(1+10s)": (([1], lags(10), 1.0), 16.350554, 1.631995),
    "e^-s/(1+s)^2": (([1], lags(1, 1), 1.0), 2.707053, 1.306542),
    "1/(s+1)(1+0.1s)^2": (([1], lags(1, 0.1, 0.1), 0), 24.2, 10.954451),
    "prod 1/(1+0.5^i s)": (([1], lags(1, 0.5, 0.25, 0.125), 0), 6.75, 2.828427),
    "prod 1/(1+0.2^i s)": (([1], lags(1, 0.2, 0.04, 0.008), 0), 30.24, 11.180340),
    "e^-0.5s/s(1+0.5s)": (([1], [0.5, 1, 0], 0.5), 2.269829, 1.720667),
    "(1-s)/(s+1)^3": (([-1, 1], lags(1, 1, 1), 0), 2, 1),
    "1/s(s+1)(s+2)": (([1], [1, 3, 2, 0], 0), 6, 1.414214),
    "1/s(s+1)^2": (([1], [1, 2, 1, 0], 0), 2, 1),
    "1/s(s+1)(s+5)": (([1], [1, 6, 5, 0], 0), 30, 5**0.5),
}  # fmt: skip


def sampled_limit(plant, gain: float, frequency: float, ticks: int) -> tuple[float, float]:
    """Return ultimate gain and frequency in rad/s with so many ticks in a radian or dead time."""
    numerator, denominator, dead_time_s = plant
    tick_s = (dead_time_s or 1.0 / frequency) / ticks
    loop = sampled_loop(numerator, denominator, tick_s, ticks if dead_time_s else 0)
    limit = stability_limit(loop, gain / 3.0, gain * 3.0)
    return limit.gain, 2.0 * math.pi * limit.frequency_hz


@pytest.mark.parametrize("name", ULTIMATE_POINTS)
def test_ultimate_point(name):
    """A held input is late by half a tick: extrapolated to ticks of no length."""
    plant, gain, frequency = ULTIMATE_POINTS[name]
    ticks = (20, 40) if plant[2] else (40, 80)
    coarse, fine = (np.array(sampled_limit(plant, gain, frequency, n)) for n in ticks)
    assert 2.0 * fine - coarse == pytest.approx([gain, frequency], rel=1e-3)
    assert abs(coarse[0] / gain - 1.0) > 1e-3


def test_plant_without_a_crossing_has_no_ultimate_gain():
    """A first-order lag without dead time never turns by 180 degrees; held, at half the rate."""
    loop = sampled_loop([1.0], [1.0, 1.0], 0.01)
    # z - e^-h + K (1 - e^-h) = 0 reaches z = -1 at K = coth(h / 2).
    limit = stability_limit(loop, 0.1, 1000.0)
    assert limit.gain == pytest.approx(1.0 / math.tanh(0.005), rel=1e-9)
    assert stability_limit(loop, 0.1, 100.0).gain == math.inf


# Ogata, "Discrete-Time Control Systems", ch. 4: 1/(s(s+1)), held input, Ts = 1 s, P control. The
# book prints 2.3925 and 1.3244 from coefficients of four digits (from memory).
SAMPLED_SERVO_GAIN = (1.0 - math.exp(-1.0)) / (1.0 - 2.0 * math.exp(-1.0))


def test_sampled_servo_as_a_transfer_function():
    e = math.exp(-1.0)
    loop = sampled_loop([1.0], [1.0, 1.0, 0.0], 1.0)
    limit = stability_limit(loop, 0.01, 100.0)
    assert limit.gain == pytest.approx(2.392211, rel=1e-6)
    assert limit.gain == pytest.approx(SAMPLED_SERVO_GAIN, rel=1e-12)
    assert 2.0 * math.pi * limit.frequency_hz == pytest.approx(1.324394, rel=1e-6)
    assert limit.gain == pytest.approx(2.3925, rel=2e-4)
    for gain, verdict in ((0.999 * limit.gain, True), (1.001 * limit.gain, False)):
        polynomial = [1.0, -1.0 - e + gain * e, e + gain * (1.0 - 2.0 * e)]
        assert (np.abs(np.roots(polynomial)).max() < 1.0) == verdict


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
