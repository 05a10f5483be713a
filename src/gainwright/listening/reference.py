"""The quiet part that a recording offers by itself: how loud the axis ordinarily is.

Windows of equal length are laid over the whole recording. Those in which the axis stands still do
not count, nor do those in which an oscillation under suspicion makes up the signal; and where the
speed is known, those of slow motion do not count either, as noise, ripple and cogging grow with
speed. Among what is left a window is taken that is louder than most: a lone blow does not set the
threshold, and quiet stretches between moves do not either.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gainwright.listening.band import Band
from gainwright.listening.blocks import Blocks
from gainwright.listening.motion import Motion

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

FEWEST_PERIODS = 40
"""The quiet part holds this many periods of the lowest oscillation frequency, or more."""
FEWEST_WINDOWS = 3
DEFAULT_SECONDS = 1.0
LARGEST_SHARE = 0.25
"""A window is at most this part of the recording, unless its periods need more."""
FAST_SHARE = 0.6
"""Windows count from this share of the fastest window's speed on."""
QUANTILE = 0.8
_OVERLAP = 4
_ALIKE = 2.0
_SURE, _FAIR = 0.75, 0.4


@dataclass(frozen=True, slots=True)
class QuietPart:
    """Where thresholds were found."""

    from_s: float
    to_s: float
    agreement: float | None = None
    """Share of the windows that count whose strongest block is within a factor of two of this
    one's; None for a part that the user stated."""
    windows: int = 0
    """How many windows counted."""
    speed: float | None = None
    """Mean speed per unit of top speed, where it is known."""
    moving: bool = True
    """False where too few windows show the axis moving, so that others had to serve."""

    @property
    def found(self) -> bool:
        """The recording's own choice; otherwise the user stated it."""
        return self.agreement is not None

    @property
    def sureness(self) -> str:
        """How well the part stands for the recording: sure, fair or poor."""
        if self.agreement is None:
            return "stated"
        if not self.moving:
            return "poor"
        if self.agreement >= _SURE and self.windows > 2 * FEWEST_WINDOWS and self.speed is not None:
            return "sure"
        return "fair" if self.agreement >= _FAIR else "poor"


@dataclass(frozen=True, slots=True)
class Windows:
    """Pieces of the recording that may serve as the quiet part, shape (windows,) each."""

    from_s: FloatArray
    to_s: FloatArray
    strongest: FloatArray
    """Amplitude of the strongest block of torque."""
    speed: FloatArray | None
    moving: Mask
    seconds: float

    def choose(self, allowed: Mask) -> QuietPart | None:
        """Return the quiet part among the windows that are allowed; None if too few are left."""
        index = np.flatnonzero(allowed & self.moving)
        moving = len(index) >= FEWEST_WINDOWS
        if not moving:
            index = np.flatnonzero(allowed)
        if len(index) < FEWEST_WINDOWS:
            return None
        if moving and self.speed is not None:
            fast = index[self.speed[index] >= FAST_SHARE * self.speed[index].max()]
            index = fast if len(fast) >= FEWEST_WINDOWS else index
        louder = index[np.argsort(self.strongest[index], kind="stable")]
        taken = int(louder[round(QUANTILE * (len(index) - 1))])
        ratio = self.strongest[index] / max(self.strongest[taken], 1e-300)
        alike = (ratio < _ALIKE) & (ratio > 1.0 / _ALIKE)
        return QuietPart(
            float(self.from_s[taken]),
            float(self.to_s[taken]),
            agreement=float(alike.mean()),
            windows=len(index),
            speed=None if self.speed is None else float(self.speed[taken]),
            moving=moving,
        )


def windows_of(
    torque: Blocks, band: Band, motion: Motion, seconds: float | None, duration_s: float
) -> Windows:
    """Lay windows over the recording, from where the filter has settled.

    Args:
        torque: amplitudes of the band-passed torque, block by block.
        seconds: length of a window; None for the default.
    """
    least_s = FEWEST_PERIODS / band.lowest_oscillation_hz
    wanted_s = min(seconds or DEFAULT_SECONDS, LARGEST_SHARE * duration_s)
    length = int(np.ceil(max(wanted_s, least_s) / torque.seconds))
    first = int(np.searchsorted(torque.starts_s, band.settling_s))
    starts = np.arange(first, len(torque.values) - length + 1, max(1, length // _OVERLAP))
    samples = length * torque.length
    speed = motion.mean_speed(starts * torque.length, samples)
    return Windows(
        from_s=starts * torque.seconds,
        to_s=(starts + length) * torque.seconds - 1.0 / torque.sample_rate_hz,
        strongest=np.array([torque.values[k : k + length].max() for k in starts], dtype=float),
        speed=speed,
        moving=np.ones(len(starts), bool) if speed is None else speed > motion.least_speed,
        seconds=length * torque.seconds,
    )
