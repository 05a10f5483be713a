"""When the axis moves, and how fast: from its speed where there is one, else from its torque."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gainwright.listening.band import Band
from gainwright.recording.recording import Recording

FloatArray = npt.NDArray[np.float64]

SMOOTHED_S = 0.02
"""Speeds are averaged over at least this time, so that encoder steps are no motion."""
MOVING_SHARE = 0.005
"""The axis moves above this share of the recording's high speeds ..."""
ABOVE_NOISE = 6.0
"""... and above this multiple of what the channel's noise leaves in the average."""
TORQUE_BELOW_BAND = 5.0
"""Without a speed: torque that varies this many times as much below the band as within it shows
that the axis was accelerated or pushed against friction."""


@dataclass(frozen=True, slots=True)
class Motion:
    speed: FloatArray | None
    """Size of the smoothed speed, shape (samples,); None where no channel tells it."""
    moves: bool
    """Some channel shows that the axis moved."""
    least_speed: float
    """Above it the axis moves; 0 where the speed is not known."""

    def mean_speed(self, starts: npt.NDArray[np.int64], length: int) -> FloatArray | None:
        """Return the mean speed of windows of ``length`` samples, or None."""
        if self.speed is None:
            return None
        sums = np.concatenate([[0.0], np.cumsum(self.speed)])
        ends = np.minimum(starts + length, len(self.speed))
        return (sums[ends] - sums[starts]) / np.maximum(ends - starts, 1)

    def speed_between(self, from_s: float, to_s: float, sample_rate_hz: float) -> float | None:
        """Return the mean speed in a time, or None."""
        first = max(0, round(from_s * sample_rate_hz))
        length = max(1, round((to_s - from_s) * sample_rate_hz))
        means = self.mean_speed(np.array([min(first, max(0, self._samples - 1))]), length)
        return None if means is None else float(means[0])

    @property
    def _samples(self) -> int:
        return 0 if self.speed is None else len(self.speed)


def motion_of(recording: Recording, band: Band, torque_in_band: FloatArray) -> Motion:
    """Return what the recording tells of the axis' motion."""
    if recording.speed_per_unit is None:
        return Motion(None, _pushed(recording, band, torque_in_band), 0.0)
    speed = recording.speed_per_unit
    length = min(len(speed), max(2, round(SMOOTHED_S * band.sample_rate_hz), 2 * _block(band)))
    smooth = np.abs(np.convolve(speed, np.full(length, 1.0 / length), mode="same"))
    # White noise of the samples, as the difference of neighbours shows it, after the average.
    noise = float(np.median(np.abs(np.diff(speed)))) / 0.954 / np.sqrt(length)
    least = max(MOVING_SHARE * float(np.quantile(smooth, 0.98)), ABOVE_NOISE * noise)
    return Motion(smooth, bool((smooth > least).mean() > 0.01), least)


def _block(band: Band) -> int:
    return band.burst_block_samples


def _pushed(recording: Recording, band: Band, torque_in_band: FloatArray) -> bool:
    settled = slice(round(band.settling_s * band.sample_rate_hz), None)
    below = (recording.torque_per_unit - torque_in_band)[settled]
    within = torque_in_band[settled]
    return bool(len(below) and np.std(below) > TORQUE_BELOW_BAND * np.std(within))
