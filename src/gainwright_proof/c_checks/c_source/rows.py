"""The findings of the analysis: one row per expression that could leave its allowed range."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

from pycparser.c_generator import CGenerator

from gainwright_proof.c_checks.c_source.types import Interval


@dataclass(frozen=True, slots=True)
class RangeRow:
    """Derived and allowed range of one expression, over all ways in which it is reached."""

    place: str
    """File and line."""
    function: str
    expression: str
    """As in the source, macros expanded."""
    kind: str
    """What the allowed range is: that of the result's type, of a shift count, of an index ..."""
    derived: Interval
    allowed: Interval

    @property
    def kept(self) -> bool:
        """Whether the derived range lies inside the allowed one."""
        return self.allowed[0] <= self.derived[0] and self.derived[1] <= self.allowed[1]

    @property
    def margin_bits(self) -> int:
        """Whole bits between what is needed and what is allowed; below 0 if not kept."""
        margin = needed_bits(self.allowed) - needed_bits(self.derived)
        return margin if self.kept else min(margin, -1)


def needed_bits(interval: Interval) -> int:
    """Return the bits that both ends need, the sign not counted."""
    return max((value if value >= 0 else ~value).bit_length() for value in interval)


class RowTable:
    """Collects rows; the same expression reached again widens its row."""

    def __init__(self) -> None:
        self._rows: dict[tuple[str, str, str], RangeRow] = {}
        self._generator = CGenerator()

    def record(
        self, function: str, node: Any, kind: str, derived: Interval, allowed: Interval
    ) -> bool:
        """Record a range and return whether it is kept."""
        place, text = place_of(node), self._generator.visit(node)
        key = (f"{place}:{node.coord.column}", text, kind)
        earlier = self._rows.get(key)
        if earlier is not None:
            derived = min(earlier.derived[0], derived[0]), max(earlier.derived[1], derived[1])
            # The narrowest allowed range is the one that counts for all.
            allowed = max(earlier.allowed[0], allowed[0]), min(earlier.allowed[1], allowed[1])
        row = RangeRow(place, function, text, kind, derived, allowed)
        self._rows[key] = row
        return row.kept

    def rows(self) -> tuple[RangeRow, ...]:
        """Return the rows in the order in which they were first reached."""
        return tuple(self._rows.values())


def place_of(node: Any) -> str:
    """Return ``file:line`` of a node, without the folder."""
    return f"{PurePosixPath(node.coord.file).name}:{node.coord.line}"
