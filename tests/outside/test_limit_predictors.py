"""The limit predicted in other ways: poles of tests below it, a relay; and lines after Goertzel."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright.detector.loop_transform import torque_of, transformed
from gainwright.detector.response_settings import LINES, POINTS
from gainwright_sim.theory import speed_loop

from .loop_cases import CASES

PRINTED_POWERS = {
    691: 131986.640625, 941: 100128688.0, 1191: 299738.0625,
    701: 5414.02002, 926: 81229848.0, 1001: 3318844.5,
}  # fmt: skip


def goertzel(samples: list[int], line: int) -> tuple[float, float]:
    """Return real part and power of a line: q0 = c q1 - q2 + x, real = q1 - q2 cos w."""
    angle = 2.0 * math.pi * line / len(samples)
    c, before, last = 2.0 * math.cos(angle), 0.0, 0.0
    for sample in samples:
        before, last = last, c * last - before + sample
    power = last * last + before * before - last * before * c
    return last - before * math.cos(angle), power


@pytest.mark.parametrize("hz", PRINTED_POWERS)
def test_goertzel_as_printed(hz: int) -> None:
    """Banks, The Goertzel Algorithm, Embedded Systems Programming, 2002: N 205, line 24, 8 kHz.

    Printed in single precision. It is the reference of the next test.
    """
    samples = [int(100.0 * math.sin(2.0 * math.pi * hz * i / 8000.0) + 100.0) for i in range(205)]
    assert goertzel(samples, 24)[1] == pytest.approx(PRINTED_POWERS[hz], rel=1e-4)


def test_lines_of_the_exported_transform_are_those_of_goertzel() -> None:
    draw = np.random.default_rng(13)
    samples = [int(x) for x in draw.integers(-(2**20), 2**20, POINTS)]
    points, shift = transformed(samples)
    assert shift == 0
    size = 2**20 * math.sqrt(POINTS)
    for line in range(1, LINES):
        re, im = torque_of(points, line)
        assert abs(math.hypot(re, im) - math.sqrt(goertzel(samples, line)[1])) < 2e-4 * size


POLES = {
    (0.3, 0.4): (0.7185, 0.6292),
    (0.5, 0.6): (0.8802, 0.8316),
    (0.7, 0.8): (0.9671, 0.9514),
}
"""Shares of the limit at which tests are made: limits predicted from ln |z| and damping ratio."""


def line_through(first: tuple[float, float], second: tuple[float, float], wanted: float) -> float:
    """Return where the straight line through two points has a wanted height."""
    slope = (second[1] - first[1]) / (second[0] - first[0])
    return first[0] + (wanted - first[1]) / slope


@pytest.mark.parametrize("shares", POLES)
def test_squared_pole_radius_predicts_a_rigid_axis_exactly(shares: tuple[float, float]) -> None:
    """z (z - 1) + k = 0: |z|^2 = k, a straight line up to the limit k = 1; damping is no such line.

    After Zimmerman and Weissenburger, Prediction of flutter onset speed based on flight testing at
    subcritical speeds, J. Aircraft 1(4):190, 1964, and its sampled form (from memory); figures
    computed for this project.
    """
    case = CASES["R1"]
    loop = speed_loop(case.chain, case.friction, case.timing)
    gains = [share * case.gain for share in shares]
    poles = [loop.dominant_eigenvalue(gain) for gain in gains]
    squared = line_through(*zip(gains, (abs(z) ** 2 for z in poles), strict=True), 1.0)
    assert squared == pytest.approx(case.gain, rel=1e-6)
    logarithms = [np.log(z) for z in poles]
    heights = [w.real for w in logarithms], [-w.real / abs(w) for w in logarithms]
    for values, expected in zip(heights, POLES[shares], strict=True):
        found = line_through(*zip(gains, values, strict=True), 0.0) / case.gain
        assert found == pytest.approx(expected, abs=6e-5)


@pytest.mark.parametrize("delay", [0, 1, 2, 3])
def test_critical_point_by_a_relay(delay: int) -> None:
    """A rigid axis under a relay, unit torque and unit J / Ts, true speed.

    Its period is 2 (2 d + 1) ticks and half its swing (2 d + 1) / 2; the gain 4 / (pi a) of the
    describing function is 8 / (pi (2 d + 1)); the ratio of the Fourier sums is the limit itself,
    2 sin(pi / (2 (2 d + 1))) (Astrom, Oscillations in systems with relay feedback, 1995; from
    memory; figures computed for this project). For d = 1 it is the limit 1 that the measured loop
    response predicts of the same axis, in test_loop_response_sources.
    """
    period = 2 * (2 * delay + 1)
    speed, pending, torques, speeds = 0.5 * (2 * delay + 1) % 1.0 + 0.5, [0.0] * delay, [], []
    for _ in range(40 * period):
        torque = -1.0 if speed > 0.0 else 1.0
        torques.append(torque)
        speeds.append(speed)
        pending.append(torque)
        speed += pending.pop(0)
    last = slice(-4 * period, None)
    u, y = (np.fft.rfft(np.array(course[last]))[4] for course in (torques, speeds))
    swing = (max(speeds[last]) - min(speeds[last])) / 2.0
    assert swing == (2 * delay + 1) / 2.0
    assert 4.0 / (math.pi * swing) == pytest.approx(8.0 / (math.pi * (2 * delay + 1)))
    assert abs(u / y) == pytest.approx(2.0 * math.sin(math.pi / period), rel=1e-12)
