"""Values and memory of the abstract interpreter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from gainwright_proof.c_checks.c_source.types import CType, Interval, IntType

Path = tuple[str | int, ...]
"""Where an object lies: a root, then members and elements."""


@dataclass(frozen=True, slots=True)
class Number:
    """Any integer of a range; ``path`` says where it was read from, if it was only read."""

    range: Interval
    type: IntType
    path: Path | None = None


@dataclass(frozen=True, slots=True)
class Pointer:
    """Points at one object, or at the first element of an array of unknown length."""

    path: Path
    target: CType
    length: Path | None = None
    """Where the number of elements is kept."""


Value = Number | Pointer | None


@dataclass(frozen=True, slots=True)
class Place:
    """An object in memory."""

    path: Path
    type: CType
    default: Interval | None = None
    """Range of an integer nobody has written yet; None: it must have been written."""
    length: Path | None = None
    """For a pointer: where the number of elements that it points at is kept."""


@dataclass(slots=True)
class State:
    """Ranges of all integers, and which of them are known to be below another."""

    values: dict[Path, Interval] = field(default_factory=dict)
    below: set[tuple[Path, Path]] = field(default_factory=set)

    def copy(self) -> State:
        return State(dict(self.values), set(self.below))

    def write(self, path: Path, value: Interval) -> None:
        self.values[path] = value
        self.below = {pair for pair in self.below if path not in pair}

    def become(self, other: State) -> None:
        self.values, self.below = other.values, other.below


def hull(left: Interval, right: Interval) -> Interval:
    return min(left[0], right[0]), max(left[1], right[1])


def overlap(left: Interval, right: Interval) -> Interval | None:
    low, high = max(left[0], right[0]), min(left[1], right[1])
    return (low, high) if low <= high else None


def joined(
    first: State | None, second: State | None, default: Callable[[Path], Interval | None]
) -> State | None:
    """Return a state that covers both; None stands for what is never reached.

    ``default`` gives the range of an integer that one of them has not touched; None drops it.
    """
    if first is None or second is None:
        return first or second
    values = {}
    for path in (*first.values, *(p for p in second.values if p not in first.values)):
        sides = [state.values.get(path) or default(path) for state in (first, second)]
        if sides[0] is not None and sides[1] is not None:
            values[path] = hull(sides[0], sides[1])
    return State(values, first.below & second.below)
