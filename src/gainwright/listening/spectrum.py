"""The frequency of the oscillation at its onset."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

WINDOW_PERIODS = 40
"""Length of the window around the onset, in periods of the lowest oscillation frequency."""
_PADDING = 8


def onset_frequency_hz(
    signal: npt.NDArray[np.float64],
    sample_rate_hz: float,
    onset_s: float,
    lowest_hz: float,
    quiet: tuple[float, float] | None,
) -> float:
    """Return where the spectrum around the onset rises most above that of the quiet part.

    Both are averaged Hann periodograms with the same window, so a forced line that is as loud in
    the quiet part cancels.

    Args:
        signal: band-passed, shape (samples,).
        onset_s: centre of the window; at the ends of the recording it is shifted inwards.
        lowest_hz: lowest oscillation frequency, for the length of the window.
        quiet: start and end in seconds; None if there is no quiet part.
    """
    length = min(len(signal), round(WINDOW_PERIODS * sample_rate_hz / lowest_hz))
    start = round(onset_s * sample_rate_hz) - length // 2
    start = min(max(start, 0), len(signal) - length)
    frequency_hz, power = _power(signal[start : start + length], length, sample_rate_hz)
    if quiet is not None:
        first, last = (round(time_s * sample_rate_hz) for time_s in quiet)
        power = power - _power(signal[first:last], length, sample_rate_hz)[1]
    return float(frequency_hz[np.argmax(power)])


def _power(
    signal: npt.NDArray[np.float64], length: int, sample_rate_hz: float
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    from scipy.signal import welch  # here, as it takes long to import

    segment = min(length, len(signal))
    return welch(signal, fs=sample_rate_hz, window="hann", nperseg=segment, nfft=_PADDING * length)
