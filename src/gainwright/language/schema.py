"""The JSON Schema of trial files, for editors; made from the layout that the loader checks."""

from __future__ import annotations

from typing import Any

from gainwright.described.table import table_schema
from gainwright.language.layout import (
    ENUMERATION_VALUE,
    ENUMERATIONS,
    NAMED_TABLES,
    ROW,
    TRIAL,
)
from gainwright.language.shapes import NAME_SCHEMA


def trial_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a trial file, read as JSON."""
    tables: dict[str, Any] = {"trial": table_schema(TRIAL)}
    for name, (layout, required, meaning) in NAMED_TABLES.items():
        tables[name] = _named(table_schema(layout), meaning, required=required)
    tables[ENUMERATIONS] = _named(
        _named(table_schema(ENUMERATION_VALUE), "values in their order, 0 first", required=True),
        "named values that variables and outputs may have",
        required=False,
    )
    tables["rows"] = {
        "type": "array",
        "description": "the rules of the decision tables, one per row",
        "items": table_schema(ROW),
        "minItems": 1,
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Gainwright trial",
        "type": "object",
        "properties": tables,
        "required": [
            "trial",
            "rows",
            *(name for name, (_, required, _) in NAMED_TABLES.items() if required),
        ],
        "additionalProperties": False,
    }


def _named(entry: dict[str, Any], meaning: str, *, required: bool) -> dict[str, Any]:
    return {
        "type": "object",
        "description": meaning,
        "propertyNames": NAME_SCHEMA,
        "additionalProperties": entry,
        "minProperties": int(required),
    }
