"""Levels of the detector block by block."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True)
class Blocks:
    """One value per complete block; block k holds samples k * length to (k + 1) * length - 1."""

    values: npt.NDArray[np.float64] | npt.NDArray[np.int32]
    length: int
    """Samples in a block."""
    sample_rate_hz: float

    @property
    def starts_s(self) -> npt.NDArray[np.float64]:
        """Time of each block's first sample, the recording's first sample being at 0."""
        return np.arange(len(self.values)) * self.length / self.sample_rate_hz

    @property
    def ends_s(self) -> npt.NDArray[np.float64]:
        """Time of each block's last sample, when its level comes out."""
        return self.starts_s + (self.length - 1) / self.sample_rate_hz

    def within(self, from_s: float, to_s: float) -> npt.NDArray[np.bool_]:
        """Return which blocks lie in this time as a whole."""
        return (self.starts_s >= from_s) & (self.ends_s <= to_s)

    @property
    def seconds(self) -> float:
        """Length of a block in seconds."""
        return self.length / self.sample_rate_hz


def level_blocks(levels: npt.NDArray[np.int32], length: int, sample_rate_hz: float) -> Blocks:
    """Return the block levels of a detector that gave its level after every sample."""
    return Blocks(levels[length - 1 :: length], length, sample_rate_hz)


def amplitude_blocks(signal: npt.NDArray[np.float64], length: int, sample_rate_hz: float) -> Blocks:
    """Return per block the amplitude of the sine that has the block's energy."""
    complete = len(signal) // length
    squares = signal[: complete * length].reshape(complete, length) ** 2
    return Blocks(np.sqrt(2.0 * squares.mean(axis=1)), length, sample_rate_hz)
