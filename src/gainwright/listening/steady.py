"""Lines that are there at once, and stay: they make up the signal, at one frequency, undecaying."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gainwright.listening.growth import LOWEST_SHARE, frames_of

FloatArray = npt.NDArray[np.float64]

_FRAME_PERIODS = 12
_SHARE = 0.6
"""Of the band's energy."""
_SAME_FREQUENCY = 0.05
LEAST_PERIODS = 60
"""A line stays for this many periods of the lowest oscillation frequency ..."""
LEAST_S = 0.25
"""... and for this time, or it is no more than the end of a blow."""


@dataclass(frozen=True, slots=True)
class SteadyLine:
    from_s: float
    to_s: float
    frequency_hz: float
    amplitude: float
    """Median over its time."""


def find_steady(
    signal: FloatArray, sample_rate_hz: float, lowest_hz: float, least_amplitude: float
) -> list[SteadyLine]:
    """Return the lines of at least this amplitude that make up the band for long.

    Args:
        signal: band-passed, shape (samples,).
    """
    frames = frames_of(signal, sample_rate_hz, lowest_hz, _FRAME_PERIODS)
    if frames is None:
        return []
    power = np.abs(frames.spectra) ** 2
    power[:, : max(2, int(LOWEST_SHARE * lowest_hz / frames.bin_hz))] = 0.0
    peak = np.argmax(power, axis=1)
    near = sum(np.take_along_axis(np.pad(power, ((0, 0), (1, 1))), peak[:, None] + k, axis=1)
               for k in (0, 1, 2))[:, 0]  # fmt: skip
    amplitude = np.sqrt(near / 1.5)
    clear = (near > _SHARE * power.sum(axis=1)) & (amplitude >= least_amplitude)
    lines = []
    for first, last in _runs(clear, peak * frames.bin_hz, frames.bin_hz):
        to_s = frames.start_s(last) + frames.length / sample_rate_hz
        if to_s - frames.start_s(first) >= max(LEAST_S, LEAST_PERIODS / lowest_hz):
            lines.append(
                SteadyLine(
                    frames.start_s(first),
                    to_s,
                    float(np.median(peak[first : last + 1]) * frames.bin_hz),
                    float(np.median(amplitude[first : last + 1])),
                )
            )
    return lines


def _runs(
    clear: npt.NDArray[np.bool_], frequency_hz: FloatArray, bin_hz: float
) -> Iterator[tuple[int, int]]:
    """Yield first and last frame of each run of clear frames at one frequency."""
    first = None
    for frame in range(len(clear) + 1):
        goes_on = frame < len(clear) and clear[frame]
        if goes_on and first is not None:
            away = abs(frequency_hz[frame] - frequency_hz[first])
            goes_on = away <= max(_SAME_FREQUENCY * frequency_hz[first], 1.01 * bin_hz)
        if first is not None and not goes_on:
            yield first, frame - 1
            first = None
        if first is None and frame < len(clear) and clear[frame]:
            first = frame
