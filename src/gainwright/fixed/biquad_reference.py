"""A second-order section, sample by sample on Python integers.

Direct form 1 with Q4.24 signals and Q1.30 coefficients:
``y[k] = b0 x[k] + b1 x[k-1] + b2 x[k-2] + a1 y[k-1] + a2 y[k-2]``, where a1 and a2 carry the
feedback sign already negated. Inputs and outputs are saturated to -2^28 to 2^28 - 1.

The exported ``gw_highpass.h`` is the same bit for bit where b1 = -2 b0 and b2 = b0.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from gainwright.fixed.arithmetic import floor_shift, saturate_signal
from gainwright.fixed.qformat import COEFFICIENT

_HALF = 1 << (COEFFICIENT.fraction_bits - 1)
_FRACTION_MASK = (1 << COEFFICIENT.fraction_bits) - 1


@dataclass(frozen=True, slots=True)
class BiquadCoefficients:
    """Raw Q1.30 words; ``a1`` and ``a2`` with the feedback sign already negated."""

    b0: int
    b1: int
    b2: int
    a1: int
    a2: int

    def as_tuple(self) -> tuple[int, int, int, int, int]:
        """Return the words in the order of the C structure."""
        return (self.b0, self.b1, self.b2, self.a1, self.a2)


@dataclass(slots=True)
class BiquadReference:
    """State of one section; raw Q4.24 words."""

    coefficients: BiquadCoefficients
    x1: int = 0
    x2: int = 0
    y1: int = 0
    y2: int = 0
    fraction: int = field(default=_HALF)
    """What rounding cut off so far, 0 to 2^30 - 1."""

    def step(self, x: int) -> int:
        """Take one sample and return the saturated output.

        What rounding cuts off is added to the next sum. The rounding error then has no part at
        zero frequency: for poles near z = 1 it is smaller by orders of magnitude than with
        rounding to nearest, and so is the error at standstill.
        """
        c = self.coefficients
        x = saturate_signal(x)
        feedback = c.a1 * self.y1 + c.a2 * self.y2
        total = c.b0 * x + c.b1 * self.x1 + c.b2 * self.x2 + feedback + self.fraction
        self.fraction = total & _FRACTION_MASK
        y = saturate_signal(floor_shift(total, COEFFICIENT.fraction_bits))
        self.x2, self.x1 = self.x1, x
        self.y2, self.y1 = self.y1, y
        return y

    def run(self, samples: Iterable[int]) -> list[int]:
        """Take samples one after the other and return the outputs."""
        return [self.step(x) for x in samples]
