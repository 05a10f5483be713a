"""Which names an expression may read in its place, and what a wrong name is told."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from gainwright.spec.model import Kind

INT32_LOW, INT32_HIGH = -(2**31), 2**31 - 1


@dataclass(frozen=True, slots=True)
class Bounds:
    """Type and range of values; a truth value is 0 or 1."""

    kind: Kind
    low: int
    high: int

    @property
    def constant(self) -> bool:
        return self.low == self.high


ANY_TRUTH = Bounds(Kind.TRUTH, 0, 1)


@dataclass(frozen=True, slots=True)
class Scope:
    """Names readable in one place of a specification.

    A readable name whose declaration is itself wrong maps to ``None``: it is known, so it is not
    reported again, but nothing can be said about its values.
    """

    readable: Mapping[str, Bounds | None]
    readable_next: Mapping[str, Bounds | None] = field(default_factory=dict)
    """Names that may stand in ``next(...)``."""
    states: tuple[str, ...] = ()
    declared: Mapping[str, str] = field(default_factory=dict)
    """Every name of the file and what it is, for messages about names not readable here."""
    place: str = "here"
    """What is being written, for the same messages, e.g. ``an action``."""


def suggestion(name: str, candidates: Iterable[str]) -> str:
    """Return a remedy for an unknown name: the nearest known one, if there is any."""
    nearest = difflib.get_close_matches(name, list(candidates), n=1)
    return f"did you mean '{nearest[0]}'?" if nearest else "declare it or remove it"
