"""Settings of the detector and of the test pulse, as the integers that the exported C holds."""

from __future__ import annotations

from dataclasses import dataclass

from gainwright.fixed.biquad_quantise import QuantisedSection
from gainwright.fixed.biquad_reference import BiquadCoefficients

LEVEL_ONE = 256
"""A level at its threshold."""
LEVEL_MAX = 2**24 - 1
INPUT_LEVEL_MAX = 65535
"""Levels as inputs of a trial."""
LEVEL_SCALE_BITS = 24
HEADROOM_BITS = 4
"""Bits that filtered signals lose before they are squared."""
SECTIONS = 2
HIGH_PASS_LIMIT = 2**30
"""b0 and a2 of a stable high-pass with a gain of at most one are below this, which is 1.0."""
LONGEST_BLOCK_TICKS = 16384
LARGEST_SHIFT = 47
LARGEST_SCALE = 2**25


@dataclass(frozen=True, slots=True)
class LevelSettings:
    """``level = ((energy >> shift) * scale) >> 24``, saturated at LEVEL_MAX."""

    block_ticks: int
    """1 to LONGEST_BLOCK_TICKS."""
    shift: int
    """0 to LARGEST_SHIFT."""
    scale: int
    """1 to LARGEST_SCALE."""


@dataclass(frozen=True, slots=True)
class DetectorSettings:
    quantised: tuple[QuantisedSection, ...]
    """High-pass, SECTIONS of them in series, with the design they came from."""
    corner_hz: float
    """-3 dB frequency of the high-pass."""
    ring: LevelSettings
    burst: LevelSettings
    swing_level: int = LEVEL_MAX
    """Ring level above which the speed itself swings, 1 to LEVEL_MAX; LEVEL_MAX: none does."""
    steps_level: int = 0
    """Ring level up to which encoder steps alone may rise, 0 to LEVEL_MAX."""

    def __post_init__(self) -> None:
        """Raise ValueError for what the exported C takes for granted and does not hold."""
        for section in self.sections:
            if (section.b1, section.b2) != (-2 * section.b0, section.b0):
                raise ValueError(f"{section} has not both zeros at z = 1: no high-pass section")
            if not 0 <= section.b0 < HIGH_PASS_LIMIT or abs(section.a2) >= HIGH_PASS_LIMIT:
                raise ValueError(f"b0 or a2 of {section} is not below {HIGH_PASS_LIMIT}")

    @property
    def sections(self) -> tuple[BiquadCoefficients, ...]:
        """The high-pass as raw Q1.30 words."""
        return tuple(section.coefficients for section in self.quantised)

    @property
    def words(self) -> tuple[tuple[int, int, int], ...]:
        """b0, a1 and a2 of each section, as the exported C holds them."""
        return tuple((section.b0, section.a1, section.a2) for section in self.sections)


@dataclass(frozen=True, slots=True)
class PulseSettings:
    shape: tuple[int, ...]
    """Q0.15, one sample per control tick."""
    heights: tuple[int, ...]
    """Q4.24 per unit of rated torque, one per rung."""
