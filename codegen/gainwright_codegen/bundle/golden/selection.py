"""Chooses few of many scenarios, so that together they still visit the rows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from gainwright_codegen.bundle.golden.scenario import Scenario, Segment


@dataclass(frozen=True, slots=True)
class Route:
    """A scenario and the numbers of the rows that it takes."""

    scenario: Scenario
    rows: frozenset[int] = frozenset()

    @property
    def ticks(self) -> int:
        return self.scenario.ticks

    def longer(self, segment: Segment, rows: frozenset[int]) -> Route:
        """Return the route with one more segment, in which the given rows were taken."""
        return Route(self.scenario.longer(segment), self.rows | rows)


def select(routes: Iterable[Route], total_ticks: int) -> tuple[list[Route], frozenset[int]]:
    """Return routes chosen greedily by new rows per tick, and all rows that they take.

    Together they stay within ``total_ticks``; a row that would need more is left out.
    """
    candidates = list({route.scenario: route for route in routes if route.ticks}.values())
    chosen: list[Route] = []
    covered: frozenset[int] = frozenset()
    left = total_ticks
    while True:
        useful = [route for route in candidates if route.rows - covered and route.ticks <= left]
        if not useful:
            return chosen, covered
        best = max(useful, key=lambda route: len(route.rows - covered) / route.ticks)
        chosen.append(best)
        covered |= best.rows
        left -= best.ticks
