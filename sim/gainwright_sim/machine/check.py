"""Check a parsed machine description against :mod:`gainwright_sim.machine.keys`.

Nothing is raised here: every problem of the document is collected, so that the user mends the
file once.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gainwright.described.shape import said
from gainwright.errors import Problem
from gainwright_sim.machine.keys import MECHANICS_KINDS, REQUIRED, TABLES, TOP, Key, Table
from gainwright_sim.machine.unknown import explain_unknown
from gainwright_sim.machine.value import check_value, expectation

Values = dict[str, dict[str, Any]]
"""Table name -> key name -> checked value, defaults filled in; an absent table has no entry."""


class Checker:
    """Collects the problems of one document; ``values`` holds whatever was found in order."""

    def __init__(self, file: str, document: Mapping[str, Any]) -> None:
        self.file = file
        self.problems: list[Problem] = []
        self.values: Values = {}
        self.kind = _kind(document)
        self._check_table(TOP, document, {table.name for table in TABLES})
        for table in TABLES:
            self._check_subtable(table, document)

    def report(self, place: str, found: str, expected: str, remedy: str) -> None:
        self.problems.append(Problem(self.file, place, found, expected, remedy))

    def _check_subtable(self, table: Table, document: Mapping[str, Any]) -> None:
        place = f"[{table.name}]"
        content = document.get(table.name)
        if table.name not in document:
            if table.required:
                keys = " and ".join(" or ".join(group) for group in self._required(table))
                self.report(place, "nothing", f"a table: {table.meaning}", f"add it, with {keys}")
            elif all(key.default is not REQUIRED for key in table.keys):
                self.values[table.name] = {key.name: key.default for key in table.keys}
        elif isinstance(content, dict):
            self._check_table(table, content, set())
        else:
            remedy = f"write it as {place} with one key a line"
            self.report(place, said(content), f"a table: {table.meaning}", remedy)

    def _required(self, table: Table) -> list[list[str]]:
        groups = _alternatives(self._applicable(table)).values()
        return [[key.name for key in keys] for keys in groups if self._is_required(keys)]

    def _is_required(self, keys: list[Key]) -> bool:
        """Return whether one of the keys must be given, as far as is known of the kind."""
        certain = self.kind is not None or any(len(k.kinds) == len(MECHANICS_KINDS) for k in keys)
        return certain and any(key.default is REQUIRED for key in keys)

    def _applicable(self, table: Table) -> list[Key]:
        return [key for key in table.keys if self.kind is None or self.kind in key.kinds]

    def _check_table(self, table: Table, content: Mapping[str, Any], subtables: set[str]) -> None:
        applicable = self._applicable(table)
        allowed = [key.name for key in applicable] + sorted(subtables)
        absent = set(allowed) - set(content)
        meant = set()
        for name in content:
            if name not in allowed:
                told = explain_unknown(table, name, allowed, absent, self.kind)
                self.report(_place(table, name), told.found, told.expected, told.remedy)
                meant.add(told.meant)
        values: dict[str, Any] = {}
        for key in applicable:
            if key.name in content:
                value, slips = check_value(key, content[key.name])
                for slip in slips:
                    self.report(_place(table, key.name) + slip.at, *slip[1:])
                if not slips:
                    values[key.name] = value
        for quantity, keys in _alternatives(applicable).items():
            given = [key.name for key in keys if key.name in content]
            if not given and not meant.intersection(key.name for key in keys):
                self._fill_in(table, keys, values)
            elif len(given) > 1:
                self.report(
                    " and ".join(_place(table, name) for name in given),
                    "the same quantity given twice", f"{quantity} in one unit",
                    f"keep only {' or only '.join(given)}",
                )  # fmt: skip
        self.values[table.name] = values

    def _fill_in(self, table: Table, keys: list[Key], values: dict[str, Any]) -> None:
        """Enter the defaults of keys that were not given, or report that one is required."""
        if self._is_required(keys):
            self.report(
                _place(table, keys[0].name), "nothing",
                " or ".join(expectation(key) for key in keys),
                f"add {' or '.join(key.name for key in keys)} ({keys[0].meaning})",
            )  # fmt: skip
        else:
            values.update({key.name: key.default for key in keys})


def _kind(document: Mapping[str, Any]) -> str | None:
    mechanics = document.get("mechanics")
    kind = mechanics.get("kind") if isinstance(mechanics, dict) else None
    return kind if isinstance(kind, str) and kind in MECHANICS_KINDS else None


def _alternatives(keys: list[Key]) -> dict[str, list[Key]]:
    """Group keys that are alternatives for one quantity; most groups have one member."""
    groups: dict[str, list[Key]] = {}
    for key in keys:
        groups.setdefault(key.quantity or key.name, []).append(key)
    return groups


def _place(table: Table, name: str) -> str:
    return f"{table.name}.{name}" if table.name else name
