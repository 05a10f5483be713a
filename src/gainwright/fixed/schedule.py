"""A gain over the position of the axis: the reference for ``gw_schedule.h``, bit for bit."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise

LARGEST_POSITION_UM = 2**30


@dataclass(frozen=True, slots=True)
class GainSchedule:
    """Points from the lowest position to the highest, joined by straight lines."""

    positions_um: tuple[int, ...]
    gains: tuple[int, ...]
    """Words of a ladder, above 0."""

    def __post_init__(self) -> None:
        rising = all(low < high for low, high in pairwise(self.positions_um))
        inside = all(abs(place) <= LARGEST_POSITION_UM for place in self.positions_um)
        if len(self.positions_um) != len(self.gains) or len(self.gains) < 2:
            raise ValueError("expected two points or more, each with a position and a gain")
        if not rising or not inside:
            raise ValueError(
                f"positions {self.positions_um} um: expected strictly rising, within 2^30"
            )
        if not all(0 < word < 2**31 for word in self.gains):
            raise ValueError(f"gains {self.gains}: expected words above 0 of 32 bits")

    def at(self, position_um: int) -> int:
        """Return the word at a position, rounded towards the gain of the lower point."""
        if position_um <= self.positions_um[0]:
            return self.gains[0]
        if position_um >= self.positions_um[-1]:
            return self.gains[-1]
        k = bisect_right(self.positions_um, position_um) - 1
        (p0, p1), (g0, g1) = self.positions_um[k : k + 2], self.gains[k : k + 2]
        product = (g1 - g0) * (position_um - p0)
        share = abs(product) // (p1 - p0)
        return g0 + (share if product >= 0 else -share)
