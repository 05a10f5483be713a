"""Design of second-order sections: Butterworth filters and the cookbook formulas.

All frequencies are in Hz and must lie strictly between zero and half the sample rate; anything
else raises ValueError with the limits in the message.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from gainwright.fixed.section import SecondOrderSection

WIDEST_BAND = 16.0
"""Upper over lower edge; in wider bands the sections' gains grow until words overflow."""


def butterworth_low_pass(
    order: int, cutoff_hz: float, sample_rate_hz: float
) -> tuple[SecondOrderSection, ...]:
    """Return a low-pass (-3.01 dB at the cutoff), each section with unit gain at zero frequency."""
    _check(sample_rate_hz, cutoff_hz)
    return _sections(
        order, "lowpass", [cutoff_hz], sample_rate_hz, 0.0, {1: (1, 1, 0), 2: (1, 2, 1)}
    )


def butterworth_high_pass(
    order: int, cutoff_hz: float, sample_rate_hz: float
) -> tuple[SecondOrderSection, ...]:
    """Return a high-pass (-3.01 dB at the cutoff), each section with unit gain at half the rate."""
    _check(sample_rate_hz, cutoff_hz)
    numerators = {1: (1, -1, 0), 2: (1, -2, 1)}
    return _sections(
        order, "highpass", [cutoff_hz], sample_rate_hz, sample_rate_hz / 2.0, numerators
    )


def butterworth_band_pass(
    order: int, low_hz: float, high_hz: float, sample_rate_hz: float
) -> tuple[SecondOrderSection, ...]:
    """Return a band-pass of ``order`` sections (-3.01 dB at both edges).

    Every section has one zero at zero frequency, one at half the sample rate, and unit gain at the
    centre of the band; so none of them sees the other's stop band amplified.
    """
    _check(sample_rate_hz, low_hz, high_hz)
    if not low_hz < high_hz:
        raise ValueError(f"band from {low_hz} Hz to {high_hz} Hz: the edges must rise")
    if order > 1 and high_hz > WIDEST_BAND * low_hz:
        raise ValueError(
            f"band from {low_hz} Hz to {high_hz} Hz: a band-pass of order {order} has edges "
            f"within a factor of {WIDEST_BAND:g}; put a high-pass and a low-pass in series"
        )
    centre_hz = band_centre_hz(low_hz, high_hz, sample_rate_hz)
    return _sections(
        order, "bandpass", [low_hz, high_hz], sample_rate_hz, centre_hz, {2: (1, 0, -1)}
    )


def band_centre_hz(low_hz: float, high_hz: float, sample_rate_hz: float) -> float:
    """Return where a band-pass made by the bilinear transform has its largest gain."""
    low, high = (math.tan(math.pi * edge / sample_rate_hz) for edge in (low_hz, high_hz))
    return sample_rate_hz / math.pi * math.atan(math.sqrt(low * high))


def cookbook_low_pass(
    frequency_hz: float, quality: float, sample_rate_hz: float
) -> SecondOrderSection:
    """Return a resonant low-pass; Bristow-Johnson, Audio EQ Cookbook, W3C Note 8 June 2021."""
    cosine, alpha = _cookbook(frequency_hz, quality, sample_rate_hz)
    return _normalised((1 - cosine) / 2, 1 - cosine, (1 - cosine) / 2, cosine, alpha)


def cookbook_high_pass(
    frequency_hz: float, quality: float, sample_rate_hz: float
) -> SecondOrderSection:
    """Return a resonant high-pass; same source."""
    cosine, alpha = _cookbook(frequency_hz, quality, sample_rate_hz)
    return _normalised((1 + cosine) / 2, -(1 + cosine), (1 + cosine) / 2, cosine, alpha)


def cookbook_band_pass(
    frequency_hz: float, quality: float, sample_rate_hz: float
) -> SecondOrderSection:
    """Return a band-pass with a gain of 0 dB at its centre; same source."""
    cosine, alpha = _cookbook(frequency_hz, quality, sample_rate_hz)
    return _normalised(alpha, 0.0, -alpha, cosine, alpha)


def cookbook_notch(
    frequency_hz: float, quality: float, sample_rate_hz: float
) -> SecondOrderSection:
    """Return a notch; same source."""
    cosine, alpha = _cookbook(frequency_hz, quality, sample_rate_hz)
    return _normalised(1.0, -2.0 * cosine, 1.0, cosine, alpha)


def _cookbook(frequency_hz: float, quality: float, sample_rate_hz: float) -> tuple[float, float]:
    _check(sample_rate_hz, frequency_hz)
    if not (math.isfinite(quality) and quality > 0.0):
        raise ValueError(f"quality is {quality}, expected above 0")
    angle = 2.0 * math.pi * frequency_hz / sample_rate_hz
    return math.cos(angle), math.sin(angle) / (2.0 * quality)


def _normalised(b0: float, b1: float, b2: float, cosine: float, alpha: float) -> SecondOrderSection:
    a0 = 1.0 + alpha
    return SecondOrderSection(b0 / a0, b1 / a0, b2 / a0, -2.0 * cosine / a0, (1.0 - alpha) / a0)


def _sections(
    order: int,
    kind: str,
    edges_hz: list[float],
    sample_rate_hz: float,
    reference_hz: float,
    numerators: Mapping[int, tuple[float, float, float]],
) -> tuple[SecondOrderSection, ...]:
    """Numerators are exact multiples of small integers, with unit gain at the reference.

    The exact numerators let quantisation keep the zeros at z = 1 and z = -1 where they are.
    """
    if order < 1:
        raise ValueError(f"order is {order}, expected 1 or more")
    reference = np.array([reference_hz])
    sections = []
    for a1, a2 in _denominators(_poles(order, kind, edges_hz, sample_rate_hz)):
        c0, c1, c2 = numerators[1 if a2 == 0.0 else 2]
        raw = SecondOrderSection(c0, c1, c2, a1, a2)
        gain = 1.0 / float(abs(raw.response(reference, sample_rate_hz)[0]))
        sections.append(replace(raw, b0=gain * c0, b1=gain * c1, b2=gain * c2))
    return tuple(sections)


def _poles(order: int, kind: str, edges_hz: list[float], sample_rate_hz: float) -> list[complex]:
    """Return the poles: Butterworth's, moved to the edges, by the bilinear transform.

    Source: Oppenheim, Schafer, Discrete-Time Signal Processing, 7.1 and appendix B (from memory).
    The prototype's poles lie on the unit circle; s is in units of twice the sample rate.
    """
    edges = [math.tan(math.pi * edge / sample_rate_hz) for edge in edges_hz]
    found = []
    for number in range(1 - order, order, 2):
        pole = -cmath.exp(1j * math.pi * number / (2 * order)) if number else -1.0 + 0.0j
        if kind == "lowpass":
            found.append(edges[0] * pole)
        elif kind == "highpass":
            found.append(edges[0] / pole)
        else:
            half = (edges[1] - edges[0]) / 2.0 * pole
            root = cmath.sqrt(half * half - edges[0] * edges[1])
            found += [half + root, half - root]
    return [(1.0 + pole) / (1.0 - pole) for pole in found]


def _denominators(poles: Iterable[complex]) -> list[tuple[float, float]]:
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
