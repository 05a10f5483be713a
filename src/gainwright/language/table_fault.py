"""What can be wrong with the decision table of a state."""

from __future__ import annotations

from dataclasses import dataclass

from gainwright.language.attainable import Combination
from gainwright.language.model import Row


@dataclass(frozen=True, slots=True)
class Gap:
    """No row holds for ``example``."""

    example: Combination


@dataclass(frozen=True, slots=True)
class Overlap:
    """Two rows hold for ``example``."""

    first: Row
    second: Row
    example: Combination


@dataclass(frozen=True, slots=True)
class DeadRow:
    """No combination of conditions satisfies the row."""

    row: Row


Fault = Gap | Overlap | DeadRow
