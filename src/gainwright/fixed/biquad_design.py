"""Design of second-order sections: the Butterworth high-pass of the detector.

All frequencies are in Hz and must lie strictly between zero and half the sample rate; anything
else raises ValueError with the limits in the message.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

import numpy as np

from gainwright.fixed.section import SecondOrderSection

_NUMERATORS = {1: (1, -1, 0), 2: (1, -2, 1)}


def butterworth_high_pass(
    order: int, cutoff_hz: float, sample_rate_hz: float
) -> tuple[SecondOrderSection, ...]:
    """Return a high-pass (-3.01 dB at the cutoff), each section with unit gain at half the rate.

    Numerators are exact multiples of small integers, so that quantisation keeps the zeros at z = 1
    where they are.
    """
    _check(sample_rate_hz, cutoff_hz)
    if order < 1:
        raise ValueError(f"order is {order}, expected 1 or more")
    reference = np.array([sample_rate_hz / 2.0])
    sections = []
    for a1, a2 in _denominators(_poles(order, cutoff_hz, sample_rate_hz)):
        c0, c1, c2 = _NUMERATORS[1 if a2 == 0.0 else 2]
        raw = SecondOrderSection(c0, c1, c2, a1, a2)
        gain = 1.0 / float(abs(raw.response(reference, sample_rate_hz)[0]))
        sections.append(replace(raw, b0=gain * c0, b1=gain * c1, b2=gain * c2))
    return tuple(sections)


def _poles(order: int, cutoff_hz: float, sample_rate_hz: float) -> list[complex]:
    """Return the poles: Butterworth's, moved to the cutoff, by the bilinear transform.

    Source: Oppenheim, Schafer, Discrete-Time Signal Processing, 7.1 and appendix B (from memory).
    The prototype's poles lie on the unit circle; s is in units of twice the sample rate.
    """
    edge = math.tan(math.pi * cutoff_hz / sample_rate_hz)
    found = []
    for number in range(1 - order, order, 2):
        pole = -cmath.exp(1j * math.pi * number / (2 * order)) if number else -1.0 + 0.0j
        found.append(edge / pole)
    return [(1.0 + pole) / (1.0 - pole) for pole in found]


def _denominators(poles: list[complex]) -> list[tuple[float, float]]:
    """Return a1 and a2 of each section; the poles nearest to the unit circle come last."""
    pairs = [(pole, pole.conjugate()) for pole in poles if pole.imag > _REAL]
    real = sorted(pole.real for pole in poles if abs(pole.imag) <= _REAL)
    pairs += [(complex(a), complex(b)) for a, b in zip(real[::2], real[1::2], strict=False)]
    both = [(-(a + b).real, (a * b).real) for a, b in sorted(pairs, key=_largest)]
    return [(-real[-1], 0.0), *both] if len(real) % 2 else both


_REAL = 1e-12
"""What rounding leaves of an imaginary part."""


def _largest(poles: tuple[complex, complex]) -> float:
    return max(map(abs, poles))


def _check(sample_rate_hz: float, *frequencies_hz: float) -> None:
    if not (math.isfinite(sample_rate_hz) and sample_rate_hz > 0.0):
        raise ValueError(f"sample rate is {sample_rate_hz} Hz, expected above 0")
    for frequency in frequencies_hz:
        if not 0.0 < frequency < sample_rate_hz / 2.0:
            raise ValueError(
                f"frequency is {frequency} Hz, expected above 0 and below half the sample rate of "
                f"{sample_rate_hz} Hz"
            )
