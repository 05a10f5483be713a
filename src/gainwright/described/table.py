"""Compares one table of a file with its keys: unknown, missing and mistyped ones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from gainwright.described.nearest import suggestion
from gainwright.described.problems import Problems
from gainwright.described.shape import Shape, object_schema, said


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a table."""

    shape: Shape
    meaning: str
    required: bool = True


Layout = Mapping[str, Key]
"""Keys of a table by name."""


def read_table(table: object, layout: Layout, place: str, problems: Problems) -> dict[str, Any]:
    """Return the well-shaped entries of ``table``; every other one is reported and left out."""
    if not isinstance(table, dict):
        remedy = f"write {{ {', '.join(layout)} }} with their values"
        problems.add(place, said(table), "a table", remedy)
        return {}
    good: dict[str, Any] = {}
    for name, value in table.items():
        if name not in layout:
            expected = f"one of {', '.join(layout)}"
            remedy = suggestion(name, layout, otherwise="remove it")
            problems.add(place, f"the unknown key '{name}'", expected, remedy)
            continue
        slips = layout[name].shape.slips(value)
        for slip in slips:
            problems.add(f"{place}, {name}{slip.at}", slip.found, slip.expected, slip.remedy)
        if not slips:
            good[name] = value
    for name, key in layout.items():
        if key.required and name not in table:
            problems.add(place, f"no key '{name}'", key.meaning, f"add {name} = ...")
    return good


def table_schema(layout: Layout, meaning: str = "") -> dict[str, Any]:
    """Return the JSON Schema of a table."""
    return object_schema(
        {name: {**key.shape.schema, "description": key.meaning} for name, key in layout.items()},
        [name for name, key in layout.items() if key.required],
        meaning,
    )
