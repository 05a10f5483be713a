"""The cookbook formulas of second-order sections, to try quantisation and filter with.

Source: Bristow-Johnson, Audio EQ Cookbook, W3C Note 8 June 2021. Frequencies in Hz, between zero
and half the sample rate; quality above 0.
"""

from __future__ import annotations

import math

from gainwright.fixed.section import SecondOrderSection


def cookbook_low_pass(
    frequency_hz: float, quality: float, sample_rate_hz: float
) -> SecondOrderSection:
    """Return a resonant low-pass."""
    cosine, alpha = _cookbook(frequency_hz, quality, sample_rate_hz)
    return _normalised((1 - cosine) / 2, 1 - cosine, (1 - cosine) / 2, cosine, alpha)


def cookbook_high_pass(
    frequency_hz: float, quality: float, sample_rate_hz: float
) -> SecondOrderSection:
    """Return a resonant high-pass."""
    cosine, alpha = _cookbook(frequency_hz, quality, sample_rate_hz)
    return _normalised((1 + cosine) / 2, -(1 + cosine), (1 + cosine) / 2, cosine, alpha)


def cookbook_band_pass(
    frequency_hz: float, quality: float, sample_rate_hz: float
) -> SecondOrderSection:
    """Return a band-pass with a gain of 0 dB at its centre."""
    cosine, alpha = _cookbook(frequency_hz, quality, sample_rate_hz)
    return _normalised(alpha, 0.0, -alpha, cosine, alpha)


def cookbook_notch(
    frequency_hz: float, quality: float, sample_rate_hz: float
) -> SecondOrderSection:
    """Return a notch."""
    cosine, alpha = _cookbook(frequency_hz, quality, sample_rate_hz)
    return _normalised(1.0, -2.0 * cosine, 1.0, cosine, alpha)


def _cookbook(frequency_hz: float, quality: float, sample_rate_hz: float) -> tuple[float, float]:
    angle = 2.0 * math.pi * frequency_hz / sample_rate_hz
    return math.cos(angle), math.sin(angle) / (2.0 * quality)


def _normalised(b0: float, b1: float, b2: float, cosine: float, alpha: float) -> SecondOrderSection:
    a0 = 1.0 + alpha
    return SecondOrderSection(b0 / a0, b1 / a0, b2 / a0, -2.0 * cosine / a0, (1.0 - alpha) / a0)
