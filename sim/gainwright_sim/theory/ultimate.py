"""Ultimate gain and frequency of transfer functions, continuous (with dead time) and sampled.

The ultimate point is the smallest positive gain K at which 1 + K G gets a root on the stability
boundary, and the frequency of that root (Ziegler and Nichols 1942, Trans. ASME 64:759).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from gainwright_sim.theory.closed_loop import ClosedLoop

Polynomial = Sequence[float]
"""Coefficients, highest power first."""

_POINTS_PER_DECADE = 400


@dataclass(frozen=True, slots=True)
class UltimatePoint:
    gain: float
    """``inf`` if there is none in the range that was searched."""
    frequency_rad_per_s: float


@dataclass(frozen=True, slots=True)
class TransferFunction:
    """numerator(s) / denominator(s) e^(-dead_time_s s)."""

    numerator: Polynomial
    denominator: Polynomial
    dead_time_s: float = 0.0

    def response(self, frequency_rad_per_s: float | np.ndarray) -> complex | np.ndarray:
        """Return the frequency response G(j omega)."""
        s = 1j * np.asarray(frequency_rad_per_s)
        ratio = np.polyval(self.numerator, s) / np.polyval(self.denominator, s)
        return ratio * np.exp(-s * self.dead_time_s)


def ultimate_point(
    plant: TransferFunction, low_rad_per_s: float = 1e-4, high_rad_per_s: float = 1e4
) -> UltimatePoint:
    """Return the ultimate point of a plant that small gains stabilise.

    All crossings of the negative real axis between the two frequencies are looked at; the one
    where the plant is largest limits the gain. With dead time the plant must fall off towards high
    frequencies, so that crossings beyond the range do not matter.
    """
    decades = math.log10(high_rad_per_s / low_rad_per_s)
    grid = np.geomspace(low_rad_per_s, high_rad_per_s, int(decades * _POINTS_PER_DECADE) + 1)
    grid = np.union1d(grid, _around_resonances(plant, low_rad_per_s, high_rad_per_s))
    sign = np.sign(np.imag(plant.response(grid)))
    best = UltimatePoint(math.inf, math.nan)
    for index in np.flatnonzero(sign[:-1] * sign[1:] <= 0.0):
        frequency = _crossing(plant, float(grid[index]), float(grid[index + 1]))
        value = complex(plant.response(frequency))
        if value.real < 0.0 and abs(value.imag) < 1e-6 * abs(value.real):
            gain = -1.0 / value.real
            if gain < best.gain:
                best = UltimatePoint(gain, frequency)
    return best


def _crossing(plant: TransferFunction, low: float, high: float) -> float:
    def imaginary(frequency: float) -> float:
        return float(np.imag(plant.response(frequency)))

    if imaginary(low) == 0.0:
        return low
    if imaginary(high) == 0.0:
        return high
    return float(brentq(imaginary, low, high, xtol=1e-300, rtol=1e-13))


def _around_resonances(plant: TransferFunction, low: float, high: float) -> np.ndarray:
    """Return frequencies close to lightly damped poles and zeros, where the phase turns fast."""
    roots = np.concatenate((np.roots(plant.numerator), np.roots(plant.denominator)))
    points = [
        abs(root.imag) + abs(root.real) * offset
        for root in roots
        if abs(root.imag) > abs(root.real)
        for offset in np.linspace(-10.0, 10.0, 41)
    ]
    inside = [point for point in points if low < point < high]
    return np.array(sorted(inside))


def sampled_loop(numerator: Polynomial, denominator: Polynomial, tick_s: float) -> ClosedLoop:
    """Return the loop of a gain around G(z), for :func:`gainwright_sim.theory.stability_limit`.

    The denominator's degree must be above the numerator's: a sampled plant with held input reacts
    one sample later at the earliest.
    """
    monic = np.asarray(denominator, dtype=float) / denominator[0]
    order = len(monic) - 1
    taps = np.asarray(numerator, dtype=float) / denominator[0]
    if len(taps) > order:
        raise ValueError("expected a denominator of higher degree than the numerator")
    base = np.eye(order, k=-1)
    base[0, :] = -monic[1:]
    feedback = np.zeros(order)
    feedback[order - len(taps) :] = -taps
    return ClosedLoop(base, np.eye(order)[0], feedback, tick_s)


def is_schur_stable(coefficients: Sequence[float]) -> bool:
    """Return whether all roots of a polynomial (highest power first) lie inside the unit circle.

    The Schur-Cohn-Jury recursion, which finds no roots (Jury 1964; Ogata, "Discrete-Time Control
    Systems", ch. 4; cited from memory). Exact for whole numbers and ``fractions.Fraction``; roots
    on the circle are not stable.
    """
    row = list(coefficients)
    if not row or row[0] == 0:
        raise ValueError("expected a leading coefficient that is not zero")
    while len(row) > 1:
        first, last = row[0], row[-1]
        if abs(last) >= abs(first):
            return False
        row = [first * a - last * b for a, b in zip(row[:-1], row[:0:-1], strict=True)]
    return True
