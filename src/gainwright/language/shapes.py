"""What may stand at a key of a trial file: names, expressions, lists of them, ranges."""

from __future__ import annotations

import math
import re
from typing import Any

from gainwright.described.shape import ValueShape, is_integer, is_number, is_text, said, shortened
from gainwright.language.tokens import NAME_PATTERN, RESERVED

LONGEST_NAME = 60


def name_problem(name: object) -> str:
    """Return what is wrong with a name, or an empty text."""
    if not isinstance(name, str):
        return said(name)
    if name in RESERVED:
        return f"the reserved word '{name}'"
    if not re.fullmatch(NAME_PATTERN, name) or len(name) > LONGEST_NAME or "__" in name:
        return f"the name '{shortened(name)}'"
    return ""


def name_remedy(name: object) -> str:
    """Return how a bad name can be written."""
    if isinstance(name, str) and name not in RESERVED:
        better = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")
        if not name_problem(better):
            return f"write {better}"
    return "rename it, for example gain_rung"


def _is_formula(value: object) -> bool:
    return isinstance(value, int) or is_text(value)


def _is_name(value: object) -> bool:
    return not name_problem(value)


def _is_name_list(value: object) -> bool:
    return isinstance(value, list) and all(map(_is_name, value))


def _found_in_names(value: object) -> str:
    """Point at the first bad member, which says more than the type."""
    bad = filter(None, map(name_problem, value)) if isinstance(value, list) else iter(())
    first = next(bad, "")
    return f"a list with {first}" if first else said(value)


def _names_remedy(otherwise: str) -> Any:
    def remedy(value: object) -> str:
        members = value if isinstance(value, list) else [value]
        bad = [name for name in members if isinstance(name, str) and name_problem(name)]
        return name_remedy(bad[0]) if bad else otherwise

    return remedy


def _found_in_texts(value: object) -> str:
    if isinstance(value, list) and value:
        return f"a list with {said(next(item for item in value if not is_text(item)))}"
    return said(value)


def _found_in_range(value: object) -> str:
    if isinstance(value, list) and len(value) == 2:
        bad = next(end for end in value if not is_integer(end) and not is_text(end))
        return f"a range with {said(bad)}"
    return said(value)


def _found_in_formulas(value: object) -> str:
    if isinstance(value, dict):
        name, item = next((n, item) for n, item in value.items() if not _is_formula(item))
        return f"{name} = {said(item)}"
    return said(value)


_TEXT = {"type": "string", "pattern": r"\S"}
NAME_SCHEMA = {"type": "string", "pattern": f"^{NAME_PATTERN}$", "maxLength": LONGEST_NAME}
_WHOLE = {"anyOf": [{"type": "integer"}, _TEXT]}
_FORMULA = {"anyOf": [_TEXT, {"type": "integer"}, {"type": "boolean"}]}


def _whole_remedy(value: object) -> str:
    if isinstance(value, bool):
        return "write 1 or 0 if a number is meant"
    if isinstance(value, float) and math.isfinite(value):
        return "write it without a decimal point; scale the quantity if it has a fraction"
    return "write one integer, such as 16"


class Shape:
    """The shapes of a trial file."""

    TEXT = ValueShape("a text in quotes, not empty", _TEXT, is_text, "write it as a text in quotes")
    NAME = ValueShape(
        "a name (lower case letters, digits and _, starting with a letter)",
        NAME_SCHEMA,
        _is_name,
        name_remedy,
        name_problem,
    )
    WHOLE = ValueShape(
        "an integer, or a text with an expression over constants",
        _WHOLE,
        lambda value: is_integer(value) or is_text(value),
        _whole_remedy,
    )
    NUMBER = ValueShape(
        "a finite number", {"type": "number"}, is_number, "write a plain number such as 1.04"
    )
    BOOLEAN = ValueShape(
        "true or false",
        {"type": "boolean"},
        lambda value: isinstance(value, bool),
        "write true or false without quotes",
    )
    FORMULA = ValueShape(
        "a text with an expression, an integer, or true or false",
        _FORMULA,
        _is_formula,
        "write the expression in quotes; scale decimal numbers to integers",
    )
    NAMES = ValueShape(
        "a list of names in quotes",
        {"type": "array", "items": NAME_SCHEMA, "uniqueItems": True},
        _is_name_list,
        _names_remedy('write a list such as ["oscillating", "settled"]'),
        _found_in_names,
    )
    TEXTS = ValueShape(
        "a list of texts in quotes, not empty",
        {"type": "array", "items": _TEXT, "minItems": 1},
        lambda value: isinstance(value, list) and bool(value) and all(map(is_text, value)),
        'write a list such as ["action_dropped/fault@move/*"]',
        _found_in_texts,
    )
    STATES = ValueShape(
        "a name in quotes, or a list of names in quotes",
        {"anyOf": [NAME_SCHEMA, {"type": "array", "items": NAME_SCHEMA, "minItems": 1}]},
        lambda value: _is_name(value) or (_is_name_list(value) and bool(value)),
        _names_remedy('write "move" or ["move", "detect"]'),
        _found_in_names,
    )
    RANGE = ValueShape(
        "a list [low, high] of two integers or expressions over constants",
        {"type": "array", "items": _WHOLE, "minItems": 2, "maxItems": 2},
        lambda value: (
            isinstance(value, list)
            and len(value) == 2
            and all(is_integer(end) or is_text(end) for end in value)
        ),
        'write range = [0, 100] or [0, "top_rung"]',
        _found_in_range,
    )
    FORMULAS = ValueShape(
        "a table of name = expression",
        {"type": "object", "additionalProperties": _FORMULA},
        lambda value: isinstance(value, dict) and all(map(_is_formula, value.values())),
        'write { name = "expression" } with expressions in quotes, or integers',
        _found_in_formulas,
    )
