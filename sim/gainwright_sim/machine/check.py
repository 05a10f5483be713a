"""Check a parsed machine description against :mod:`gainwright_sim.machine.keys`.

Nothing is raised here: every problem of the document is collected, so that the user mends the
file once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from gainwright.errors import Problem
from gainwright_sim.machine.keys import MECHANICS_KINDS, REQUIRED, TABLES, TOP, Key, Table, Type
from gainwright_sim.machine.units import nearest, same_quantity

Values = dict[str, dict[str, Any]]
"""Table name -> key name -> checked value, defaults filled in; an absent table has no entry."""


class Checker:
    """Collects the problems of one document; ``values`` holds whatever was found in order."""

    def __init__(self, file: str, document: Mapping[str, Any]) -> None:
        self.file = file
        self.problems: list[Problem] = []
        self.values: Values = {}
        self.kind = self._kind(document)
        self._check_table(TOP, document, {table.name for table in TABLES})
        for table in TABLES:
            self._check_subtable(table, document)

    def report(self, place: str, found: str, expected: str, remedy: str) -> None:
        self.problems.append(Problem(self.file, place, found, expected, remedy))

    def _kind(self, document: Mapping[str, Any]) -> str | None:
        mechanics = document.get("mechanics")
        kind = mechanics.get("kind") if isinstance(mechanics, dict) else None
        return kind if isinstance(kind, str) and kind in MECHANICS_KINDS else None

    def _check_subtable(self, table: Table, document: Mapping[str, Any]) -> None:
        if table.name not in document:
            if table.required:
                self.report(
                    f"[{table.name}]", "nothing", f"a table: {table.meaning}",
                    f"add [{table.name}] with {_required_names(table, self.kind)}",
                )  # fmt: skip
            elif table.name == "friction":
                self.values[table.name] = {key.name: key.default for key in table.keys}
            return
        content = document[table.name]
        if not isinstance(content, dict):
            self.report(
                f"[{table.name}]", _show(content), f"a table: {table.meaning}",
                f"write it as [{table.name}] with one key a line",
            )  # fmt: skip
            return
        self._check_table(table, content, set())

    def _check_table(self, table: Table, content: Mapping[str, Any], subtables: set[str]) -> None:
        applicable = [key for key in table.keys if self.kind is None or self.kind in key.kinds]
        names = [key.name for key in applicable] + sorted(subtables)
        for name in content:
            if name not in names:
                self._report_unknown(table, name, names)
        values: dict[str, Any] = {}
        for key in applicable:
            if key.name in content:
                value = self._checked(table, key, content[key.name])
                if value is not None:
                    values[key.name] = value
        self._check_presence(table, applicable, content, values)
        self.values[table.name] = values

    def _check_presence(
        self,
        table: Table,
        applicable: list[Key],
        content: Mapping[str, Any],
        values: dict[str, Any],
    ) -> None:
        for quantity in dict.fromkeys(key.quantity or key.name for key in applicable):
            keys = [key for key in applicable if quantity in (key.quantity, key.name)]
            given = [key for key in keys if key.name in content]
            if len(given) > 1:
                self.report(
                    " and ".join(_place(table, key.name) for key in given),
                    "the same quantity given twice", f"{quantity} in one unit",
                    f"keep only {given[0].name} or only {given[1].name}",
                )  # fmt: skip
            if given:
                continue
            if any(key.default is REQUIRED for key in keys):
                if (
                    table is not TOP
                    and self.kind is None
                    and len(keys[0].kinds) < len(MECHANICS_KINDS)
                ):
                    continue  # which keys are needed is not known before the kind is
                self.report(
                    _place(table, keys[0].name), "nothing",
                    " or ".join(_expectation(key) for key in keys),
                    f"add {' or '.join(key.name for key in keys)} ({keys[0].meaning})",
                )  # fmt: skip
            else:
                values.update({key.name: key.default for key in keys})

    def _report_unknown(self, table: Table, name: str, names: list[str]) -> None:
        place = _place(table, name)
        expected = (
            f"one of the keys {', '.join(names)}"
            if table is not TOP
            else (f"one of the keys or tables {', '.join(names)}")
        )
        if name in table.by_name:
            kinds = " or ".join(
                kind for kind in MECHANICS_KINDS if kind in table.by_name[name].kinds
            )
            self.report(
                place, f"a key that does not apply to mechanics of kind {self.kind!r}", expected,
                f"remove {name}, or use a kind it belongs to ({kinds})",
            )  # fmt: skip
            return
        unit = same_quantity(name, names)
        if unit is not None:
            right, factor = unit
            scale = f", value times {factor:.6g}" if factor is not None else ""
            self.report(
                place, "a key with another unit in its name",
                f"{right} (SI units, the unit is part of the name)", f"write {right}{scale}",
            )  # fmt: skip
            return
        near = nearest(name, names)
        home = next((other for other in TABLES if name in other.by_name), None)
        if home is not None and home is not table:
            remedy = f"move it to the table [{home.name}]"
        elif near is not None:
            remedy = f"did you mean {near}?"
        else:
            remedy = f"remove {name}"
        self.report(place, "an unknown key", expected, remedy)

    def _checked(self, table: Table, key: Key, value: Any) -> Any | None:
        """Return the value in its Python type, or ``None`` after reporting the problem."""
        place = _place(table, key.name)
        if key.type is Type.NUMBERS:
            return self._checked_list(place, key, value)
        if key.type in (Type.TEXT, Type.CHOICE):
            return self._checked_text(place, key, value)
        return self._checked_number(place, key, value)

    def _checked_list(self, place: str, key: Key, value: Any) -> tuple[float, ...] | None:
        if not isinstance(value, list):
            self.report(
                place, _show(value), _expectation(key), f"write {key.name} = [{_plain(value)}]"
            )
            return None
        checked = [
            self._checked_number(f"{place}[{index}]", key, item) for index, item in enumerate(value)
        ]
        return None if None in checked else tuple(checked)  # type: ignore[arg-type]

    def _checked_text(self, place: str, key: Key, value: Any) -> str | None:
        if not isinstance(value, str):
            self.report(place, _show(value), _expectation(key), f'write {key.name} = "..."')
            return None
        if key.choices and value not in key.choices:
            near = nearest(value, key.choices)
            remedy = f"did you mean {near!r}?" if near else "choose one of them"
            self.report(place, repr(value), f"one of {', '.join(key.choices)}", remedy)
            return None
        if key.default is REQUIRED and not value.strip():
            self.report(place, "empty text", key.meaning, f"fill in {key.name}")
            return None
        return value

    def _checked_number(self, place: str, key: Key, value: Any) -> float | int | None:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            hint = (
                f"write {value.strip()} without quotes"
                if _is_numeric(value)
                else f"give {key.meaning} as a number"
            )
            self.report(place, _show(value), _expectation(key), hint)
            return None
        if not _is_finite(value):
            self.report(
                place, _show(value), _expectation(key),
                "give a finite number" + ("; 0 means none" if key.low == 0 else ""),
            )  # fmt: skip
            return None
        if key.type is Type.INTEGER and value != int(value):
            self.report(place, _show(value), _expectation(key), "give a whole number")
            return None
        if not key.low <= value <= key.high:
            sign = (
                "negative makes no sense here"
                if value < 0 <= key.low
                else ("check the value and its unit")
            )
            self.report(place, _show(value), _expectation(key), sign)
            return None
        return int(value) if key.type is Type.INTEGER else float(value)


def _place(table: Table, name: str) -> str:
    return f"{table.name}.{name}" if table.name else name


def _required_names(table: Table, kind: str | None) -> str:
    names = [
        key.name
        for key in table.keys
        if key.default is REQUIRED and (kind is None or kind in key.kinds)
    ]
    return ", ".join(names)


def _expectation(key: Key) -> str:
    if key.type is Type.CHOICE:
        return f"one of {', '.join(key.choices)}"
    if key.type is Type.TEXT:
        return key.type.value
    return f"{key.type.value} from {key.low:g} to {key.high:g}"


def _show(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _plain(value: Any) -> str:
    return str(value) if isinstance(value, (int, float)) else "..."


def _is_numeric(value: Any) -> bool:
    if not isinstance(value, str):
        return False
    try:
        float(value)
    except ValueError:
        return False
    return True


def _is_finite(value: float | int) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number beyond the range of a float
        return False
