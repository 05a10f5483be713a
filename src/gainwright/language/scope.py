"""Which names an expression may read in its place, and what a wrong name is told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from gainwright.language.model import Kind

INT32_LOW, INT32_HIGH = -(2**31), 2**31 - 1


@dataclass(frozen=True, slots=True)
class Bounds:
    """Type and range of values; a boolean value is 0 or 1."""

    kind: Kind
    low: int
    high: int
    enumeration: str = ""
    """Name of the enumeration that names the values; they are no amounts then."""

    @property
    def constant(self) -> bool:
        return self.low == self.high

    @property
    def type_words(self) -> str:
        if self.enumeration:
            return f"a value of the enumeration '{self.enumeration}'"
        return "a boolean value" if self.kind is Kind.BOOLEAN else "an integer"

    def same_type(self, other: Bounds) -> bool:
        return self.kind is other.kind and self.enumeration == other.enumeration


ANY_BOOLEAN = Bounds(Kind.BOOLEAN, 0, 1)
ANY_INTEGER = Bounds(Kind.INTEGER, INT32_LOW, INT32_HIGH)


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
    enumerations: Mapping[str, str] = field(default_factory=dict)
    """Names of enumerations' values, and the enumeration of each. Empty after loading: then the
    values are plain integers."""

    def fixed_names(self) -> list[str]:
        """Return the names of constants and of enumerations' values, readable everywhere."""
        constants = [name for name, what in self.declared.items() if what == "a constant"]
        return [*constants, *self.enumerations]
