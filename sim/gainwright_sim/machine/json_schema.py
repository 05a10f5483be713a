"""A JSON Schema (draft 2020-12) of machine descriptions, for editors."""

from __future__ import annotations

from typing import Any

from gainwright.described.table import table_schema
from gainwright_sim.machine.keys import (
    LINEAR_KINDS,
    MECHANICS,
    MECHANICS_KINDS,
    TABLES,
    TOP,
    Table,
)
from gainwright_sim.machine.layout import layout, layout_of


def machine_schema() -> dict[str, Any]:
    """Return the schema, made from the same tables of keys as the checker.

    What only the whole machine can show (a torque limit below the rated torque, say) is left to
    :func:`gainwright_sim.machine.load_machine`.
    """
    schema = table_schema(layout(TOP.keys), TOP.meaning)
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
    return table_schema(layout(table.keys), table.meaning)


def _mechanics_of(kind: str) -> dict[str, Any]:
    schema = table_schema(layout_of(MECHANICS, kind), MECHANICS.meaning)
    schema["properties"]["kind"] = {"const": kind}
    return schema


def _without_linear(table: Table) -> dict[str, Any]:
    forbidden = [key.name for key in table.keys if key.kinds == LINEAR_KINDS and key.quantity]
    return {"properties": {name: False for name in forbidden}}
