"""A critical point found another way: the cycle of a relay, exact, sampled, and as approximated.

Astrom, Oscillations in systems with relay feedback, IMA volumes 74, 1995 (from memory); the figures
are computed for this project.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.optimize import brentq
from scipy.signal import tf2ss

from gainwright_sim.theory import speed_loop, stability_limit
from gainwright_sim.theory.closed_loop import ClosedLoop

from ..shared.sampled_plants import sampled_loop
from .loop_cases import CASES

CUBIC = [1.0, 3.0, 3.0, 1.0]
CYCLES = {
    "1/s(s+1)(s+2)": ([1.0, 3.0, 2.0, 0.0], 0.0, 4.551071, 0.220037, 0.37358),
    "1/s(s+1)^2": ([1.0, 2.0, 1.0, 0.0], 0.0, 6.424461, 0.658313, 0.35375),
    "1/(s+1)^4": ([1.0, 4.0, 6.0, 4.0, 1.0], 0.0, 6.327327, 0.324096, 0.23885),
    "1/(s+1)^3, hysteresis": (CUBIC, 0.1, 4.787672, 0.285687, 0.16102),
    "1/s(s+1), hysteresis": ([1.0, 1.0, 0.0], 0.1, 2.847246, 0.234453, 0.24084),
    "1/(s+1)^3": (CUBIC, 0.0, 3.679751, 0.163061, 0.38399),
}
"""Denominator, hysteresis; period, amplitude, largest eigenvalue from switch to switch."""


class Relay:
    """The cycle of a plant under a relay of height 1."""

    def __init__(self, denominator: list[float], hysteresis: float) -> None:
        a, b, c, _ = tf2ss([1.0], denominator)
        self.a, self.b, self.c = a, b[:, 0], c[0]
        self.half_s = brentq(lambda h: self.c @ self.switch(h) - hysteresis, 0.5, 6.0)

    def step(self, time_s: float) -> tuple[np.ndarray, np.ndarray]:
        """Return what a state becomes by itself, and what the held torque adds."""
        order = len(self.a)
        block = np.zeros((order + 1, order + 1))
        block[:order, :order], block[:order, order] = self.a, self.b
        whole = expm(block * time_s)
        return whole[:order, :order], whole[:order, order]

    def switch(self, half_s: float) -> np.ndarray:
        """Return the state in which a cycle of this half period switches: (I + Phi)^-1 Gamma."""
        phi, gamma = self.step(half_s)
        return np.linalg.solve(np.eye(len(phi)) + phi, gamma)

    def amplitude(self) -> float:
        phi, gamma = self.step(self.half_s / 2000.0)
        state, largest = -self.switch(self.half_s), 0.0
        for _ in range(2001):
            largest = max(largest, abs(float(self.c @ state)))
            state = phi @ state + gamma
        return largest

    def largest_eigenvalue(self) -> float:
        """Return that of (I - w C / (C w)) Phi: below 1 the cycle is stable."""
        way = self.a @ self.switch(self.half_s) + self.b
        jump = np.eye(len(way)) - np.outer(way, self.c) / (self.c @ way)
        return float(np.abs(np.linalg.eigvals(jump @ self.step(self.half_s)[0])).max())


@pytest.mark.parametrize("name", CYCLES)
def test_exact_cycle(name: str) -> None:
    denominator, hysteresis, period, amplitude, eigenvalue = CYCLES[name]
    relay = Relay(denominator, hysteresis)
    assert 2.0 * relay.half_s == pytest.approx(period, abs=2e-6)
    assert relay.amplitude() == pytest.approx(amplitude, abs=2e-6)
    assert relay.largest_eigenvalue() == pytest.approx(eigenvalue, abs=2e-5)


def under_relay(loop: ClosedLoop, ticks: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Return torque and negative speed of a loop whose gain is replaced by a relay of height 1."""
    state = np.random.default_rng(seed).normal(size=len(loop.base))
    torques, errors = np.empty(ticks), np.empty(ticks)
    for k in range(ticks):
        errors[k] = loop.feedback @ state
        torques[k] = 1.0 if errors[k] >= 0.0 else -1.0
        state = loop.base @ state + loop.injection * torques[k]
    return torques, errors


@pytest.mark.parametrize(
    ("tick_s", "low", "high"), [(0.1, 3.8, 4.0), (0.05, 3.7, 3.9), (0.01, 3.69, 3.72)]
)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_sampled_relay_switches_late(tick_s: float, low: float, high: float, seed: int) -> None:
    """1/(s+1)^3, whose exact cycle takes 3.679751: switching at ticks only makes it longer."""
    torques, _ = under_relay(sampled_loop([1.0], CUBIC, tick_s), round(60.0 / tick_s), seed)
    rises = np.flatnonzero((torques[:-1] < 0.0) & (torques[1:] > 0.0)) * tick_s
    periods = np.diff(rises)[-5:]
    assert low - 1e-9 <= periods.mean() <= high + 1e-9
    assert periods.mean() > 2.0 * Relay(CUBIC, 0.0).half_s


ON_AXES = {"R3": 1.000, "R2d": 1.000, "R4": 0.999, "A1": 0.991, "B1": 0.984, "D1": 0.979,
           "D2": 0.996, "A2": 1.431}  # fmt: skip
"""Ratio of Fourier sums of torque and speed at the relay's cycle, over the exact limit."""


@pytest.mark.parametrize("name", ON_AXES)
def test_relay_on_the_axes_whose_limits_eigenvalues_say(name: str) -> None:
    """Another way to the limit of the same axes, P controller: within 2 % but for one.

    A sampled cycle takes a whole number of ticks: four instead of 4.08 on the last axis, where a
    narrow resonance makes that 43 %. A test signal of many lines has no such trouble.
    """
    case = dataclasses.replace(CASES[name], integral_time_s=0.0)
    loop = speed_loop(case.chain, case.friction, case.timing)
    torques, errors = under_relay(loop, 4096, 1)
    last = slice(-2048, None)
    u, e = (np.fft.rfft(course[last] * np.hanning(2048)) for course in (torques, errors))
    line = int(np.argmax(np.abs(u[3:]))) + 3
    limit = stability_limit(loop, case.gain / 100.0, 10.0 * case.gain).gain
    assert abs(u[line] / e[line]) / limit == pytest.approx(ON_AXES[name], abs=4e-3)


@pytest.mark.parametrize(
    ("dead_share", "error"), [(0.005, -0.18943), (0.1, -0.1817), (1.0, -0.1095), (5.0, 0.1323)]
)
def test_describing_function_of_a_lag_with_dead_time(dead_share: float, error: float) -> None:
    """Errors of -18 to +27 % (Li, Eskinat and Luyben 1991, Ind. Eng. Chem. Res. 30:1530).

    Exact amplitude of the cycle: 1 - exp(-L / T); its limits are 8 / pi^2 - 1 and 4 / pi - 1. The
    exact limit is that of the sampled loop, with ticks that grow short.
    """
    limits = []
    for ticks in (20, 40):
        loop = sampled_loop([1.0], [1.0, 1.0], dead_share / ticks, ticks)
        limits.append(stability_limit(loop, 0.3, 1000.0).gain)
    exact = 2.0 * limits[1] - limits[0]
    found = 4.0 / math.pi / (1.0 - math.exp(-dead_share))
    assert found / exact - 1.0 == pytest.approx(error, abs=2e-3)


def test_rules_by_the_ultimate_point() -> None:
    """1/(s+1)^3: Ku 8, Tu 3.63; PID 4.8, 1.81, 0.45.

    Astrom and Haegglund, PID Controllers, 1995 (from memory).
    """
    points = [
        stability_limit(sampled_loop([1.0], CUBIC, tick_s), 2.0, 20.0) for tick_s in (0.02, 0.01)
    ]
    gain = 2.0 * points[1].gain - points[0].gain
    period = 2.0 / points[1].frequency_hz - 1.0 / points[0].frequency_hz
    assert (gain, period) == pytest.approx((8.0, 3.63), rel=2e-3)
    assert (0.6 * gain, period / 2.0, period / 8.0) == pytest.approx((4.8, 1.81, 0.453), rel=4e-3)
