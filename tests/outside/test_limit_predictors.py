"""The limit predicted in other ways: poles of tests below it, a relay; and lines after Goertzel."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright.detector.loop_transform import torque_of, transformed
from gainwright.detector.response_settings import LINES, POINTS
from gainwright_sim.theory import LoopTiming, speed_loop, stability_limit
from gainwright_sim.theory.margins import margins

from .loop_cases import CASES, RIGID

PRINTED_PARTS = {
    691: (-360.392059, -45.871609),
    941: (-3727.528076, -9286.238281),
    1191: (424.038116, -346.308716),
}
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


def tone(hz: int) -> list[int]:
    """Return the samples of the printed example."""
    return [int(100.0 * math.sin(2.0 * math.pi * hz * i / 8000.0) + 100.0) for i in range(205)]


@pytest.mark.parametrize("hz", PRINTED_POWERS)
def test_goertzel_as_printed(hz: int) -> None:
    """Banks, The Goertzel Algorithm, Embedded Systems Programming, 2002: N 205, line 24, 8 kHz.

    Printed in single precision. It is the reference of the next test.
    """
    assert goertzel(tone(hz), 24)[1] == pytest.approx(PRINTED_POWERS[hz], rel=1e-4)


@pytest.mark.parametrize("hz", PRINTED_PARTS)
def test_goertzel_parts_as_printed(hz: int) -> None:
    """Likewise; real = q1 - q2 cos w, and what is left of the power is the other part."""
    real, power = goertzel(tone(hz), 24)
    printed, other = PRINTED_PARTS[hz]
    assert real == pytest.approx(printed, abs=1e-4 * math.sqrt(PRINTED_POWERS[hz]))
    assert math.sqrt(power - real**2) == pytest.approx(abs(other), rel=5e-3)


def test_lines_of_the_exported_transform_are_those_of_goertzel() -> None:
    draw = np.random.default_rng(13)
    samples = [int(x) for x in draw.integers(-(2**20), 2**20, POINTS)]
    points, shift, energy = transformed(samples)
    assert (shift, energy) == (0, sum(x * x for x in samples))
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


PEAKS = {(0.3, 0.4): 0.9446, (0.5, 0.6): 0.9780, (0.7, 0.8): 0.9943}
"""The same, predicted from 1 / Ms."""


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
    peaks = [1.0 / margins(loop, gain).peak_sensitivity for gain in gains]
    found = line_through(*zip(gains, peaks, strict=True), 0.0) / case.gain
    assert found == pytest.approx(PEAKS[shares], abs=6e-5)


@pytest.mark.parametrize("shares", POLES)
def test_squared_pole_radius_with_an_integral_part(shares: tuple[float, float]) -> None:
    """A PI controller bends the line by less than 2e-4 (computed for this project).

    Of its poles the pair that swings counts: the slow one of the integral part is larger.
    """
    case = CASES["R2"]
    loop = speed_loop(case.chain, case.friction, case.timing)
    gains = [share * case.gain for share in shares]
    poles = (np.linalg.eigvals(loop.matrix(gain)) for gain in gains)
    squares = (float(np.abs(z[np.abs(np.angle(z)) > 0.3]).max() ** 2) for z in poles)
    found = line_through(*zip(gains, squares, strict=True), 1.0)
    assert found == pytest.approx(case.gain, rel=2e-4)


RELAY_ERRORS = {
    "sensor": (0.273, -0.151, -0.176, -0.183),
    "difference": (0.273, 0.025, -0.050, -0.086),
}
"""Of the describing function's limit, 4 / (pi a), with a delay of 0 to 3 ticks."""


@pytest.mark.parametrize("source", RELAY_ERRORS)
@pytest.mark.parametrize("delay", [0, 1, 2, 3])
@pytest.mark.parametrize("start", [0.1, 0.5, 1.0])
def test_critical_point_by_a_relay(source, delay: int, start: float) -> None:
    """A rigid axis under a sampled relay, unit torque and unit J / Ts.

    True speed: its period is 2 (2 d + 1) ticks; speed as a difference of positions: 4 (d + 1);
    half its swing is (2 d + 1) / 2 both times. The ratio of the Fourier sums of torque and speed
    over whole periods is the limit itself (Astrom, Oscillations in systems with relay feedback,
    1995; from memory; figures computed for this project), which eigenvalues find without any relay.
    For true speed and d = 1 it is the limit 1 that the measured loop response predicts of the same
    axis, in test_loop_response_sources.
    """
    period = 4 * (delay + 1) if source == "difference" else 2 * (2 * delay + 1)
    speed = before = start
    pending, torques, speeds = [0.0] * delay, [], []
    for _ in range(100 * period):
        measured = (speed + before) / 2.0 if source == "difference" else speed
        torque = -1.0 if measured > 0.0 else 1.0
        torques.append(torque)
        speeds.append(measured)
        pending.append(torque)
        before, speed = speed, speed + pending.pop(0)
    last = slice(-4 * period, None)
    assert torques[-period:] == torques[-2 * period : -period]
    u, y = (np.fft.rfft(np.array(course[last]))[4] for course in (torques, speeds))
    swing = (max(speeds[last]) - min(speeds[last])) / 2.0
    assert swing == pytest.approx((2 * delay + 1) / 2.0)
    tick_s = 250e-6
    loop = speed_loop(RIGID, None, LoopTiming(tick_s, delay, speed_source=source))
    limit = stability_limit(loop, 1e-3, 1e3).gain * tick_s / RIGID.inertias_kgm2[0]
    assert abs(u / y) == pytest.approx(limit, rel=1e-9)
    error = 4.0 / (math.pi * swing) / limit - 1.0
    assert error == pytest.approx(RELAY_ERRORS[source][delay], abs=6e-4)
