"""Check a parsed machine description against :mod:`gainwright_sim.machine.keys`.

Nothing is raised here: every problem of the document is collected, so that the user mends the
file once.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gainwright.described.problems import Problems
from gainwright.described.shape import said
from gainwright.described.table import NOTHING, Layout, Message, Phrases, alternatives, read_table
from gainwright_sim.machine.keys import MECHANICS_KINDS, TABLES, TOP, Table
from gainwright_sim.machine.layout import layout_of
from gainwright_sim.machine.unknown import explain_unknown

Values = dict[str, dict[str, Any]]
"""Table name -> key name -> checked value, defaults filled in; an absent table has no entry."""


class Checker:
    """Collects the problems of one document; ``values`` holds whatever was found in order."""

    def __init__(self, file: str, document: Mapping[str, Any]) -> None:
        self.problems = Problems(file)
        self.values: Values = {}
        self.kind = _kind(document)
        tables = {table.name for table in TABLES}
        top = {name: value for name, value in document.items() if name not in tables}
        self._read(TOP, top)
        for table in TABLES:
            self._read_subtable(table, document)

    def report(self, place: str, found: str, expected: str, remedy: str) -> None:
        self.problems.add(place, found, expected, remedy)

    def _read(self, table: Table, content: Mapping[str, Any]) -> None:
        layout = layout_of(table, self.kind)
        phrases = _Phrases(table, layout, self.kind)
        self.values[table.name] = read_table(content, layout, table.name, self.problems, phrases)

    def _read_subtable(self, table: Table, document: Mapping[str, Any]) -> None:
        place = f"[{table.name}]"
        layout = layout_of(table, self.kind)
        if table.name not in document:
            if table.required:
                groups = alternatives(layout).values()
                wanted = [names for names in groups if any(layout[name].required for name in names)]
                keys = " and ".join(" or ".join(names) for names in wanted)
                self.report(place, "nothing", f"a table: {table.meaning}", f"add it, with {keys}")
            elif not any(key.required for key in layout.values()):
                defaults = {name: key.default for name, key in layout.items()}
                self.values[table.name] = {k: v for k, v in defaults.items() if v is not NOTHING}
        elif isinstance(document[table.name], dict):
            self._read(table, document[table.name])
        else:
            remedy = f"write it as {place} with one key a line"
            self.report(place, said(document[table.name]), f"a table: {table.meaning}", remedy)


class _Phrases(Phrases):
    """Knows units, and the other tables and kinds."""

    def __init__(self, table: Table, layout: Layout, kind: str | None) -> None:
        super().__init__(table.name, layout)
        self._table = table
        self._kind = kind

    def at(self, name: str) -> str:
        return f"{self.place}.{name}" if self.place else name

    def unknown(self, name: str, absent: set[str]) -> tuple[Message, str | None]:
        tables = sorted(table.name for table in TABLES) if self._table is TOP else []
        known = explain_unknown(self._table, name, [*self.layout, *tables], absent, self._kind)
        return Message(self.at(name), known.found, known.expected, known.remedy), known.meant

    def missing(self, names: list[str]) -> Message:
        keys = [self.layout[name] for name in names]
        return Message(
            self.at(names[0]),
            "nothing",
            " or ".join(key.shape.expected for key in keys),
            f"add {' or '.join(names)} ({keys[0].meaning})",
        )


def _kind(document: Mapping[str, Any]) -> str | None:
    mechanics = document.get("mechanics")
    kind = mechanics.get("kind") if isinstance(mechanics, dict) else None
    return kind if isinstance(kind, str) and kind in MECHANICS_KINDS else None
