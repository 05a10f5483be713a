"""Q formats: which numbers a fixed-point word can hold, and how a real number becomes one.

Qm.n has m integer bits *without* the sign and n fraction bits. ISO/IEC TR 18037:2008 leaves the
formats to the implementation, and usage differs on whether m counts the sign; here it never does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

MOST_FRACTION_BITS = 62


class Rounding(Enum):
    """What happens to the part below one unit in the last place."""

    HALF_UP = "half up"
    """To the nearest; a half goes toward plus infinity."""
    FLOOR = "floor"
    """Toward minus infinity, as an arithmetic shift right does."""
    TOWARD_ZERO = "toward zero"


@dataclass(frozen=True, slots=True)
class QFormat:
    """A signed fixed-point format with saturation; raw words are plain integers.

    ``integer_bits`` may be negative: such a format resolves only numbers well below one.

    Raises:
        ValueError: fraction bits outside 0 to 62, or a word outside 2 to 64 bits.
    """

    integer_bits: int
    fraction_bits: int

    def __post_init__(self) -> None:
        if not 0 <= self.fraction_bits <= MOST_FRACTION_BITS:
            raise ValueError(
                f"fraction bits are {self.fraction_bits}, expected 0 to {MOST_FRACTION_BITS}"
            )
        if not 2 <= self.word_bits <= 64:
            raise ValueError(
                f"a word of {self}, sign included, has {self.word_bits} bits, not 2-64"
            )

    def __str__(self) -> str:
        return f"Q{self.integer_bits}.{self.fraction_bits}"

    @property
    def word_bits(self) -> int:
        """Bits of a word, sign included."""
        return 1 + self.integer_bits + self.fraction_bits

    @property
    def lowest(self) -> int:
        """The lowest raw word, -2^(m + n)."""
        return -(1 << (self.word_bits - 1))

    @property
    def highest(self) -> int:
        """The highest raw word, 2^(m + n) - 1."""
        return (1 << (self.word_bits - 1)) - 1

    @property
    def resolution(self) -> float:
        """Real value of one unit in the last place, 2^-n."""
        return math.ldexp(1.0, -self.fraction_bits)

    def quantise(self, value: float | Fraction, rounding: Rounding = Rounding.HALF_UP) -> int:
        """Return the raw word for a real number, saturated; infinities saturate too.

        Computed exactly, so that the result is the same on every computer.

        Raises:
            ValueError: the value is not a number.
        """
        if isinstance(value, float) and not math.isfinite(value):
            if math.isnan(value):
                raise ValueError(f"NaN has no value in {self}")
            return self.highest if value > 0 else self.lowest
        raw = round_fraction(Fraction(value) * (1 << self.fraction_bits), rounding)
        return min(max(raw, self.lowest), self.highest)

    def to_float(self, raw: int) -> float:
        """Return the real value of a raw word; exact for words of at most 53 bits."""
        return math.ldexp(raw, -self.fraction_bits)

    def holds(self, value: float | Fraction) -> bool:
        """Whether a real number is quantised (half up) without saturation."""
        if isinstance(value, float) and not math.isfinite(value):
            return False
        raw = round_fraction(Fraction(value) * (1 << self.fraction_bits), Rounding.HALF_UP)
        return self.lowest <= raw <= self.highest


def round_fraction(value: Fraction, rounding: Rounding) -> int:
    """Round an exact number to an integer."""
    if rounding is Rounding.HALF_UP:
        return math.floor(value + Fraction(1, 2))
    return math.floor(value) if rounding is Rounding.FLOOR else math.trunc(value)


SIGNAL = QFormat(4, 24)
"""Torque per unit of rated torque, speed per unit of top speed; kept in 32-bit words."""
SIGNAL_LIMIT = SIGNAL.highest
SIGNAL_LOWEST = SIGNAL.lowest
"""Signals saturate at these raw words, 2^28 - 1 and -2^28: 29 bits, for which many processors have
an instruction."""
COEFFICIENT = QFormat(1, 30)
"""Filter coefficients of magnitude below two."""
Q15 = QFormat(0, 15)
Q31 = QFormat(0, 31)
