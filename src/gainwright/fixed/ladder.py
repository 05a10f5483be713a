"""The gain ladder: rung k = start * ratio^k, as a table of 32-bit words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from gainwright.fixed.qformat import MOST_FRACTION_BITS, QFormat

MOST_RUNGS = 128
_WORD_BITS = 32


@dataclass(frozen=True, slots=True)
class GainLadder:
    """Raw words of the rungs, lowest first, strictly rising."""

    raw: tuple[int, ...]
    format: QFormat
    relative_error_bound: float
    """Largest |word - exact| / exact over all rungs."""

    def values(self) -> tuple[float, ...]:
        """Return the gains that the words stand for."""
        return tuple(self.format.to_float(word) for word in self.raw)


def gain_ladder(start: float, ratio: float, rungs: int) -> GainLadder:
    """Make a ladder in the finest format in which the top rung fits a 32-bit word.

    The powers are computed exactly, so that the table is the same on every computer.

    Args:
        start: lowest rung, above 0, in the unit of the gain.
        ratio: from one rung to the next, above 1.
        rungs: 1 to 128.

    Raises:
        ValueError: an argument outside its range, a top rung of 2^31 or more, or rungs so far
            apart that the lowest ones are too coarse to rise.
    """
    possible = 0.0 < start < math.inf and 1.0 < ratio < math.inf and 1 <= rungs <= MOST_RUNGS
    if not possible:
        raise ValueError(
            f"ladder from {start} by {ratio} with {rungs} rungs: expected a finite start above 0, "
            f"a finite ratio above 1 and 1 to {MOST_RUNGS} rungs"
        )
    exact = [Fraction(start) * Fraction(ratio) ** rung for rung in range(rungs)]
    q_format = finest_format(exact[-1])
    raw = tuple(q_format.quantise(value) for value in exact)
    if raw[0] < 1 or any(low >= high for low, high in pairwise(raw)):
        raise ValueError(
            f"ladder from {start} by {ratio} with {rungs} rungs: in {q_format} the lowest "
            "rungs coincide; use fewer rungs or a smaller ratio"
        )
    scale = 1 << q_format.fraction_bits
    errors = [abs(word / (value * scale) - 1) for word, value in zip(raw, exact, strict=True)]
    return GainLadder(raw, q_format, float(max(errors)))


def finest_format(largest: Fraction) -> QFormat:
    """Return the 32-bit format with the most fraction bits that holds a positive number.

    Raises:
        ValueError: the number is 2^31 or more after rounding.
    """
    for fraction_bits in range(MOST_FRACTION_BITS, -1, -1):
        q_format = QFormat(_WORD_BITS - 1 - fraction_bits, fraction_bits)
        if q_format.holds(largest):
            return q_format
    raise ValueError("a top rung of 2^31 or more does not fit a 32-bit word")
