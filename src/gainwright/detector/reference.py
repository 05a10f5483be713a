"""The detector of the exported ``gw_detector.c``, tick by tick on Python integers."""

from __future__ import annotations

from dataclasses import dataclass, field

from gainwright.detector.settings import (
    HEADROOM_BITS,
    LEVEL_MAX,
    LEVEL_SCALE_BITS,
    LONGEST_BLOCK_TICKS,
    DetectorSettings,
    LevelSettings,
)
from gainwright.fixed.arithmetic import round_shift
from gainwright.fixed.biquad_reference import BiquadReference

_QUOTIENT_MAX = 2**32 - 1
_UNFINISHED_ENERGY_MAX = (LONGEST_BLOCK_TICKS - 1) * 2**48
"""Of a block that goes on: no filtered signal exceeds 2^24 after the headroom shift."""


def level_of(energy: int, settings: LevelSettings) -> int:
    """Return the energy of a block in units of the threshold's energy, 256 = threshold."""
    bounded = min(energy >> settings.shift, _QUOTIENT_MAX)
    return min((bounded * settings.scale) >> LEVEL_SCALE_BITS, LEVEL_MAX)


@dataclass(slots=True)
class _Band:
    sections: list[BiquadReference]
    settings: LevelSettings
    energy: int = 0
    ticks: int = 0
    level: int = 0

    def filter(self, signal: int) -> int:
        for section in self.sections:
            signal = section.step(signal)
        return round_shift(signal, HEADROOM_BITS)

    def restart(self) -> None:
        """Drop the block that is being filled."""
        self.energy = self.ticks = 0

    def sample(self, signal: int) -> bool:
        """Add one square; True if that completes a block, which gives a new level."""
        value = self.filter(signal)
        self.energy = min(self.energy, _UNFINISHED_ENERGY_MAX) + value * value
        self.ticks += 1
        if self.ticks >= self.settings.block_ticks:
            self.level = level_of(self.energy, self.settings)
            self.restart()
            return True
        return False


@dataclass(slots=True)
class ReferenceDetector:
    """State as in ``gw_detector``; signals are raw Q4.24 words."""

    settings: DetectorSettings
    ring: _Band = field(init=False)
    burst: _Band = field(init=False)

    def __post_init__(self) -> None:
        self.ring = self._band(self.settings.ring)
        self.burst = self._band(self.settings.burst)

    def _band(self, level: LevelSettings) -> _Band:
        return _Band([BiquadReference(c) for c in self.settings.sections], level)

    def sample(self, torque_command: int, speed_error: int) -> tuple[bool, bool]:
        """Take one control tick's samples; return whether a ring and a burst block are complete."""
        ring_ended = self.ring.sample(speed_error)
        return ring_ended, self.burst.sample(torque_command)

    @property
    def block_ends(self) -> bool:
        """Whether the next sample completes a block."""
        bands = (self.ring, self.burst)
        return any(band.ticks + 1 >= band.settings.block_ticks for band in bands)

    def restart_blocks(self) -> None:
        """Drop the blocks that are being filled."""
        self.ring.restart()
        self.burst.restart()
