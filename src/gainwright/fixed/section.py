"""A second-order section with real coefficients: response, poles, zeros, and error measures.

Here the denominator has the textbook sign: ``H = (b0 + b1/z + b2/z^2) / (1 + a1/z + a2/z^2)``.
The integer forms in :mod:`gainwright.fixed.biquad_reference` store -a1 and -a2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class SecondOrderSection:
    """Coefficients of one section, leading denominator coefficient one."""

    b0: float
    b1: float
    b2: float
    a1: float
    a2: float

    def poles(self) -> np.ndarray:
        """Return the two poles in the z plane, complex, upper half plane first."""
        return _roots(1.0, self.a1, self.a2)

    def zeros(self) -> np.ndarray:
        """Return the two zeros in the z plane, complex; ``b0`` must not be zero."""
        return _roots(self.b0, self.b1, self.b2)

    def is_stable(self) -> bool:
        """Whether both poles lie inside the unit circle (Jury's conditions)."""
        return abs(self.a2) < 1.0 and abs(self.a1) < 1.0 + self.a2

    def response(self, frequency_hz: np.ndarray, sample_rate_hz: float) -> np.ndarray:
        """Return the complex frequency response, one value per frequency."""
        delay = np.exp(-2j * np.pi * np.asarray(frequency_hz, dtype=float) / sample_rate_hz)
        above = self.b0 + delay * (self.b1 + delay * self.b2)
        return above / (1.0 + delay * (self.a1 + delay * self.a2))


def cascade_response(
    sections: Sequence[SecondOrderSection], frequency_hz: np.ndarray, sample_rate_hz: float
) -> np.ndarray:
    """Return the complex frequency response of sections in series, one value per frequency."""
    total = np.ones(np.shape(frequency_hz), dtype=complex)
    for section in sections:
        total = total * section.response(frequency_hz, sample_rate_hz)
    return total


def root_frequency_hz(root: complex, sample_rate_hz: float) -> float:
    """Return the frequency at which a pole or zero stands, 0 to half the sample rate."""
    return float(abs(np.angle(root)) * sample_rate_hz / (2.0 * np.pi))


def _roots(c0: float, c1: float, c2: float) -> np.ndarray:
    """Roots of c0 z^2 + c1 z + c2 without the cancellation of the school formula."""
    half, product = c1 / (2.0 * c0), c2 / c0
    discriminant = half * half - product
    if discriminant < 0.0:
        imaginary = np.sqrt(-discriminant)
        return np.array([complex(-half, imaginary), complex(-half, -imaginary)])
    larger = -half - np.copysign(np.sqrt(discriminant), half)
    smaller = product / larger if larger != 0.0 else 0.0
    return np.array([complex(larger), complex(smaller)])
