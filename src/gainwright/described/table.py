"""Compares one table of a file with its keys: unknown, missing, mistyped and given twice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from gainwright.described.nearest import suggestion
from gainwright.described.problems import Problems
from gainwright.described.shape import Shape, object_schema, said

NOTHING = object()
"""Default of a key that is simply absent where it is left out."""


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a table."""

    shape: Shape
    meaning: str
    required: bool = True
    default: object = NOTHING
    """Value where the key is left out, entered as it stands."""
    quantity: str = ""
    """Keys of the same quantity are alternatives: at most one, exactly one if one is required."""


Layout = Mapping[str, Key]
"""Keys of a table by name."""


class Message(NamedTuple):
    """What is said of one problem."""

    place: str
    found: str
    expected: str
    remedy: str


class Phrases:
    """How problems of a table are said; a kind of file may know more about its own keys."""

    def __init__(self, place: str, layout: Layout) -> None:
        self.place = place
        self.layout = layout

    def at(self, name: str) -> str:
        """Return the place of a key."""
        return f"{self.place}, {name}"

    def unknown(self, name: str, absent: set[str]) -> tuple[Message, str | None]:
        """Say what a key is that the table does not have, and which was probably meant.

        Args:
            name: the key.
            absent: keys of the table that are not given.
        """
        remedy = suggestion(name, self.layout, otherwise="remove it")
        expected = f"one of {', '.join(self.layout)}"
        return Message(self.place, f"the unknown key '{name}'", expected, remedy), None

    def missing(self, names: list[str]) -> Message:
        """Say that a key is not given, or none of some alternatives."""
        name = names[0]
        meaning = self.layout[name].meaning
        return Message(self.place, f"no key '{name}'", meaning, f"add {name} = ...")


def alternatives(layout: Layout) -> dict[str, list[str]]:
    """Group keys that are alternatives for one quantity; most groups have one member."""
    groups: dict[str, list[str]] = {}
    for name, key in layout.items():
        groups.setdefault(key.quantity or name, []).append(name)
    return groups


def read_table(
    table: object,
    layout: Layout,
    place: str,
    problems: Problems,
    phrases: Phrases | None = None,
) -> dict[str, Any]:
    """Return the well-shaped entries of ``table`` in their Python type, and defaults.

    Every other entry is reported and left out.
    """
    if not isinstance(table, dict):
        remedy = f"write {{ {', '.join(layout)} }} with their values"
        problems.add(place, said(table), "a table", remedy)
        return {}
    phrases = phrases or Phrases(place, layout)
    absent = layout.keys() - table.keys()
    good: dict[str, Any] = {}
    meant = set()
    for name, value in table.items():
        if name in layout:
            slips = layout[name].shape.slips(value)
            for slip in slips:
                problems.add(phrases.at(name) + slip.at, slip.found, slip.expected, slip.remedy)
            if not slips:
                good[name] = layout[name].shape.typed(value)
        else:
            message, probably = phrases.unknown(name, set(absent))
            problems.add(*message)
            meant.add(probably)
    for quantity, names in alternatives(layout).items():
        given = [name for name in names if name in table]
        if len(given) > 1:
            problems.add(*_twice(phrases, quantity, given))
        elif not given and not meant.intersection(names):
            if any(layout[name].required for name in names):
                problems.add(*phrases.missing(names))
            else:
                defaults = {name: layout[name].default for name in names}
                good |= {name: value for name, value in defaults.items() if value is not NOTHING}
    return good


def _twice(phrases: Phrases, quantity: str, given: list[str]) -> Message:
    places = " and ".join(map(phrases.at, given))
    remedy = f"keep only {' or only '.join(given)}"
    return Message(places, "the same quantity given twice", f"{quantity} in one unit", remedy)


def table_schema(layout: Layout, meaning: str = "") -> dict[str, Any]:
    """Return the JSON Schema of a table."""
    groups = alternatives(layout).values()
    single = [names[0] for names in groups if len(names) == 1]
    schema = object_schema(
        {name: {**key.shape.schema, "description": key.meaning} for name, key in layout.items()},
        [name for name in single if layout[name].required],
        meaning,
    )
    choices = [_exclusive(layout, names) for names in groups if len(names) > 1]
    return schema | ({"allOf": choices} if choices else {})


def _exclusive(layout: Layout, names: list[str]) -> dict[str, Any]:
    each = [{"required": [name]} for name in names]
    required = all(layout[name].required for name in names)
    return {"oneOf": each} if required else {"not": {"allOf": each}}
