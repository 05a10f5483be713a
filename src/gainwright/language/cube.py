"""The conditions of a row as two numbers, so that one comparison tells whether it holds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from gainwright.language.model import Row


class Cube(NamedTuple):
    """A row holds if ``bits & mask == value``; a condition that it does not look at is no matter.

    (A cube, as a product of literals is called in Boolean algebra.)
    """

    mask: int
    value: int

    def holds(self, bits: int) -> bool:
        """Return whether the row holds when these conditions do."""
        return bits & self.mask == self.value

    def violations(self, bits: int) -> int:
        """Return how many conditions are not as the row wants them."""
        return ((bits ^ self.value) & self.mask).bit_count()

    def without(self, bits: int) -> Cube:
        """Return the cube that does not look at these conditions."""
        return Cube(self.mask & ~bits, self.value & ~bits)


NEVER = Cube(0, 1)
"""What no conditions meet."""


def cube(row: Row, bits: Mapping[str, int]) -> Cube:
    """Return the cube of a row; ``NEVER`` if it wants a condition both true and false.

    Args:
        row: of a trial.
        bits: the bit of each condition, as ``Trial.index.condition_bits``.
    """
    wanted = sum(bits[name] for name in row.when)
    unwanted = sum(bits[name] for name in row.unless)
    return NEVER if wanted & unwanted else Cube(wanted | unwanted, wanted)
