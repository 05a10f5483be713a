"""The frequency of the oscillation at its onset."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

WINDOW_PERIODS = 40
"""Length of the window around the onset, in periods of the lowest oscillation frequency."""
_PADDING = 8


def onset_frequency_hz(
    signal: npt.NDArray[np.float64], sample_rate_hz: float, onset_s: float, lowest_hz: float
) -> float:
    """Return the frequency of the highest line in the spectrum (Hann window) around the onset.

    The window reaches to both sides, as an oscillation may have grown for long before it is
    reported, and may end soon after, when the drive lowers its gain.

    Args:
        signal: band-passed, shape (samples,).
        onset_s: centre of the window; at the ends of the recording it is shifted inwards.
        lowest_hz: lowest oscillation frequency; the window resolves a fortieth of it.
    """
    from scipy.signal import periodogram  # here, as it takes long to import

    length = min(len(signal), round(WINDOW_PERIODS * sample_rate_hz / lowest_hz))
    start = round(onset_s * sample_rate_hz) - length // 2
    start = min(max(start, 0), len(signal) - length)
    frequency_hz, power = periodogram(
        signal[start : start + length], fs=sample_rate_hz, window="hann", nfft=_PADDING * length
    )
    return float(frequency_hz[np.argmax(power)])
