"""What a recording is, and which channels of a file make one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gainwright.fixed.scaling import signals_raw

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ChannelChoice:
    """Names of the channels, as in the file, and what counts as one per unit.

    The speed error is given in one of three ways: as a channel of its own; as a speed, with or
    without its reference; as a position, with or without its reference, differenced over one
    sample. A reference that is not named counts as zero. Beside a speed error, speed or position
    tells how the axis moves. A file with a single channel may be named for torque and speed error
    alike.
    """

    torque: str
    speed_error: str | None = None
    speed: str | None = None
    speed_reference: str | None = None
    position: str | None = None
    position_reference: str | None = None
    torque_base: float = 1.0
    """Value of the torque channel that is the drive's rated torque, in the channel's unit."""
    speed_base: float = 1.0
    """Value that is the axis' top speed, in the channel's unit; for a position, per second."""
    time: str | None = None
    """Channel of sample times; ``time_s`` where nothing is said and the file has it."""
    time_unit_s: float | None = None
    """Unit of the sample times in seconds; one second where nothing is said."""
    sample_rate_hz: float | None = None


@dataclass(frozen=True, slots=True)
class Recording:
    """Two channels of equal length at a uniform rate, finite, within the range of Q4.24."""

    file: str
    sample_rate_hz: float
    torque_per_unit: FloatArray
    """Per unit of rated torque, shape (samples,)."""
    speed_error_per_unit: FloatArray
    """Reference less actual speed, per unit of top speed, shape (samples,)."""
    torque_name: str
    speed_error_name: str
    """How the channel was made, in words of the file's names."""
    speed_per_unit: FloatArray | None = None
    """Actual speed per unit of top speed, shape (samples,); None where no channel tells it."""

    @property
    def samples(self) -> int:
        """Number of samples of each channel."""
        return len(self.torque_per_unit)

    @property
    def duration_s(self) -> float:
        """Number of samples times the sample time."""
        return self.samples / self.sample_rate_hz

    def torque_raw(self) -> npt.NDArray[np.int32]:
        """Return the torque as Q4.24 words, as the exported detector takes them."""
        return signals_raw(self.torque_per_unit)

    def speed_error_raw(self) -> npt.NDArray[np.int32]:
        """Return the speed error as Q4.24 words."""
        return signals_raw(self.speed_error_per_unit)
