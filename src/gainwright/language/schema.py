"""The JSON Schema of trial files, for editors; made from the layout that the loader checks."""

from __future__ import annotations

from typing import Any

from gainwright.language.layout import (
    ENUMERATION_VALUE,
    ENUMERATIONS,
    NAMED_TABLES,
    ROW,
    TRIAL,
    Key,
    Layout,
    Shape,
)
from gainwright.language.shape import LONGEST_NAME
from gainwright.language.tokens import NAME_PATTERN

_TEXT = {"type": "string", "pattern": r"\S"}
_NAME = {"type": "string", "pattern": f"^{NAME_PATTERN}$", "maxLength": LONGEST_NAME}
_WHOLE = {"anyOf": [{"type": "integer"}, _TEXT]}
_FORMULA = {"anyOf": [_TEXT, {"type": "integer"}, {"type": "boolean"}]}
_SHAPES: dict[Shape, dict[str, Any]] = {
    Shape.TEXT: _TEXT,
    Shape.NAME: _NAME,
    Shape.WHOLE: _WHOLE,
    Shape.NUMBER: {"type": "number"},
    Shape.BOOLEAN: {"type": "boolean"},
    Shape.FORMULA: _FORMULA,
    Shape.NAMES: {"type": "array", "items": _NAME, "uniqueItems": True},
    Shape.TEXTS: {"type": "array", "items": _TEXT, "minItems": 1},
    Shape.STATES: {"anyOf": [_NAME, {"type": "array", "items": _NAME, "minItems": 1}]},
    Shape.RANGE: {"type": "array", "items": _WHOLE, "minItems": 2, "maxItems": 2},
    Shape.FORMULAS: {"type": "object", "additionalProperties": _FORMULA},
}


def trial_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a trial file, read as JSON."""
    tables: dict[str, Any] = {"trial": _table(TRIAL)}
    for name, (layout, required, meaning) in NAMED_TABLES.items():
        tables[name] = _named(_table(layout), meaning, required=required)
    tables[ENUMERATIONS] = _named(
        _named(_table(ENUMERATION_VALUE), "values in their order, 0 first", required=True),
        "named values that variables and outputs may have",
        required=False,
    )
    tables["rows"] = {
        "type": "array",
        "description": "the rules of the decision tables, one per row",
        "items": _table(ROW),
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
        "propertyNames": _NAME,
        "additionalProperties": entry,
        "minProperties": int(required),
    }


def _table(layout: Layout) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": {name: _property(key) for name, key in layout.items()},
        "required": [name for name, key in layout.items() if key.required],
        "additionalProperties": False,
    }


def _property(key: Key) -> dict[str, Any]:
    choices = {"enum": list(key.choices)} if key.choices else {}
    return {**_SHAPES[key.shape], "description": key.meaning, **choices}
