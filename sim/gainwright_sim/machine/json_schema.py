"""A JSON Schema (draft 2020-12) of machine descriptions, for editors."""

from __future__ import annotations

from typing import Any

from gainwright.described.shape import object_schema
from gainwright_sim.machine.keys import (
    LINEAR_KINDS,
    MECHANICS,
    MECHANICS_KINDS,
    REQUIRED,
    TABLES,
    TOP,
    Key,
    Table,
)
from gainwright_sim.machine.value import shape_of


def machine_schema() -> dict[str, Any]:
    """Return the schema, made from the same tables of keys as the checker.

    What only the whole machine can show (a torque limit below the rated torque, say) is left to
    :func:`gainwright_sim.machine.load_machine`.
    """
    schema = _object(TOP, TOP.keys)
    schema["properties"] |= {table.name: _table(table) for table in TABLES}
    schema["required"] += [table.name for table in TABLES if table.required]
    rotary = [kind for kind in MECHANICS_KINDS if kind not in LINEAR_KINDS]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Gainwright machine description",
        **schema,
        "if": {"properties": {"mechanics": {"properties": {"kind": {"enum": rotary}}}}},
        "then": {"properties": {table.name: _without_linear(table) for table in TABLES}},
    }


def _table(table: Table) -> dict[str, Any]:
    if table is MECHANICS:
        kinds = [_mechanics_of(kind) for kind in MECHANICS_KINDS]
        return {"type": "object", "description": table.meaning, "oneOf": kinds}
    return _object(table, table.keys)


def _mechanics_of(kind: str) -> dict[str, Any]:
    keys = tuple(key for key in MECHANICS.keys if kind in key.kinds)
    schema = _object(MECHANICS, keys)
    schema["properties"]["kind"] = {"const": kind}
    return schema


def _object(table: Table, keys: tuple[Key, ...]) -> dict[str, Any]:
    alternatives: dict[str, list[Key]] = {}
    for key in keys:
        alternatives.setdefault(key.quantity or key.name, []).append(key)
    required = [
        group[0].name
        for group in alternatives.values()
        if len(group) == 1 and group[0].default is REQUIRED
    ]
    schema = object_schema({key.name: _value(key) for key in keys}, required, table.meaning)
    choices = [_exclusive(group) for group in alternatives.values() if len(group) > 1]
    return schema | ({"allOf": choices} if choices else {})


def _exclusive(group: list[Key]) -> dict[str, Any]:
    each = [{"required": [key.name]} for key in group]
    if all(key.default is REQUIRED for key in group):
        return {"oneOf": each}
    return {"not": {"allOf": each}}


def _without_linear(table: Table) -> dict[str, Any]:
    forbidden = [key.name for key in table.keys if key.kinds == LINEAR_KINDS and key.quantity]
    return {"properties": {name: False for name in forbidden}}


def _value(key: Key) -> dict[str, Any]:
    return {**shape_of(key).schema, "description": key.meaning}
