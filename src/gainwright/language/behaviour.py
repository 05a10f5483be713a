"""Reads states and rows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gainwright.described.nearest import suggestion
from gainwright.described.shape import said
from gainwright.described.table import read_table
from gainwright.language.declarations import output_value
from gainwright.language.expression import Expression
from gainwright.language.layout import ROW
from gainwright.language.model import Row, State
from gainwright.language.reader import Reader
from gainwright.language.typing import with_bounds


def read_states(reader: Reader) -> tuple[State, ...]:
    entries = reader.entries("states")
    reader.states = tuple(name for name, _, _ in entries)
    return tuple(
        State(
            name,
            entry.get("meaning", ""),
            entry.get("end", False),
            _state_outputs(reader, entry.get("outputs", {}), place),
        )
        for name, place, entry in entries
    )


def _state_outputs(
    reader: Reader, outputs: Mapping[str, Any], place: str
) -> Mapping[str, Expression]:
    result = {}
    for name, value in outputs.items():
        if name not in reader.outputs:
            reader.problems.add(
                f"{place}, outputs",
                f"the unknown output '{name}'",
                "an output of the trial",
                suggestion(name, reader.outputs),
            )
            continue
        expression = output_value(reader, name, value, f"{place}, outputs, {name}")
        if expression is not None:
            result[name] = expression
    return result


def read_rows(reader: Reader) -> tuple[Row, ...]:
    """Return all rows; one whose ``from`` lists several states becomes one row per state."""
    listed = reader.document.get("rows", [])
    if not isinstance(listed, list) or not listed:
        reader.problems.add(
            "[[rows]]", said(listed), "the rows of the decision tables", "add [[rows]] entries"
        )
        return ()
    rows: list[Row] = []
    ids: set[str] = set()
    for number, entry in enumerate(listed, start=1):
        rows.extend(_read_row(reader, entry, number, ids))
    return tuple(rows)


def _read_row(reader: Reader, raw: object, number: int, ids: set[str]) -> list[Row]:
    id_given = raw.get("id") if isinstance(raw, dict) else None
    place = f"row '{id_given}'" if isinstance(id_given, str) else f"row number {number}"
    entry = read_table(raw, ROW, place, reader.problems)
    if not isinstance(raw, dict) or {"from", "when", "unless"} & raw.keys() - entry.keys():
        reader.rows_sound = False
    row_id = entry.get("id", "")
    if row_id in ids:
        reader.problems.add(
            f"row number {number}",
            f"the id '{row_id}' a second time",
            "a row id used once in the file",
            "rename one of the two rows",
        )
    ids.add(row_id)
    sources = entry.get("from", [])
    sources = [sources] if isinstance(sources, str) else sources
    _check_states(reader, [*sources, *filter(None, [entry.get("to")])], place)
    if len(set(sources)) < len(sources):
        reader.problems.add(
            f"{place}, from", "a state listed twice", "each state once", "remove the repetition"
        )
    when, unless = (tuple(entry.get(key, ())) for key in ("when", "unless"))
    _check_cube(reader, when, unless, place)
    actions = _actions(reader, entry.get("actions", {}), place)
    return [
        Row(
            id=f"{row_id}@{source}" if len(sources) > 1 else row_id,
            source=source,
            when=when,
            unless=unless,
            target=entry.get("to", source),
            actions=actions,
            why=entry.get("why", ""),
        )
        for source in sources
    ]


def _check_states(reader: Reader, names: list[str], place: str) -> None:
    for name in dict.fromkeys(names):
        if name not in reader.states:
            reader.problems.add(
                place,
                f"the unknown state '{name}'",
                "a state of the trial",
                suggestion(name, reader.states),
            )


def _check_cube(reader: Reader, when: tuple[str, ...], unless: tuple[str, ...], place: str) -> None:
    for key, names in (("when", when), ("unless", unless)):
        for name in names:
            reader.read_names.add(name)
            if name in reader.conditions:
                continue
            what = reader.declared.get(name)
            reader.problems.add(
                f"{place}, {key}",
                f"'{name}', which is {what}" if what else f"the unknown condition '{name}'",
                "a condition of the trial",
                f"declare a condition that reads {name}"
                if what
                else suggestion(name, reader.conditions),
            )
        if len(set(names)) < len(names):
            reader.problems.add(
                f"{place}, {key}", "a condition listed twice", "each once", "remove the repetition"
            )
    for name in when:
        if name in unless:
            reader.problems.add(
                place,
                f"the condition '{name}' both in when and in unless",
                "a row that can hold",
                "remove it from one of the two",
            )


def _actions(reader: Reader, actions: Mapping[str, Any], place: str) -> Mapping[str, Expression]:
    scope = reader.scope({**reader.inputs, **reader.variables}, "an action")
    result = {}
    for name, value in actions.items():
        where = f"{place}, actions, {name}"
        if name not in reader.variables:
            what = reader.declared.get(name)
            reader.problems.add(
                f"{place}, actions",
                f"an assignment to '{name}', which is {what}"
                if what
                else f"an assignment to the unknown name '{name}'",
                "a variable of the trial",
                "actions change variables only" if what else suggestion(name, reader.variables),
            )
            continue
        bounds = reader.variables[name]
        if bounds is None:
            continue
        expression, found = reader.expression(value, where, scope, bounds)
        if found is not None and (found.low > bounds.high or found.high < bounds.low):
            reader.problems.add(
                where,
                with_bounds(str(value), found),
                f"a value that can be inside the range of {name}, {bounds.low} to {bounds.high}",
                "correct the expression or widen the range",
            )
        elif expression is not None:
            result[name] = expression
    return result
