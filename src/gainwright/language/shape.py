"""Compares one table of a trial file with its layout: unknown, missing and mistyped keys."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import Any

from gainwright.language.layout import Key, Layout, Shape
from gainwright.language.problems import Problems
from gainwright.language.scope import suggestion
from gainwright.language.tokens import NAME_PATTERN, RESERVED

LONGEST_NAME = 60


def shaped(table: object, layout: Layout, place: str, problems: Problems) -> dict[str, Any]:
    """Return the well-shaped entries of ``table``; every other one is reported and left out."""
    if not isinstance(table, dict):
        problems.add(
            place, described(table), "a table", f"write {{ {', '.join(layout)} }} with their values"
        )
        return {}
    good: dict[str, Any] = {}
    for key, value in table.items():
        if key not in layout:
            problems.add(
                place,
                f"the unknown key '{key}'",
                f"one of {', '.join(layout)}",
                suggestion(key, layout) if _near(key, layout) else "remove it",
            )
        elif _has_shape(value, layout[key], f"{place}, {key}", problems):
            good[key] = value
    for key, rule in layout.items():
        if rule.required and key not in table:
            problems.add(place, f"no key '{key}'", rule.meaning, f"add {key} = ...")
    return good


def described(value: object) -> str:
    """Say a TOML value of the wrong type."""
    match value:
        case bool():
            return str(value).lower()
        case float() if math.isnan(value):
            return "not a number (nan)"
        case float():
            return f"the decimal number {value}"
        case int():
            return f"the integer {value}"
        case str() if not value.strip():
            return "an empty text"
        case str():
            return f"the text '{_shortened(value)}'"
        case dict():
            return "a table"
        case list():
            return f"a list of {len(value)}"
    return f"a date or time ({value})"


def name_problem(name: object) -> str:
    """Return what is wrong with a name, or an empty text."""
    if not isinstance(name, str):
        return described(name)
    if name in RESERVED:
        return f"the reserved word '{name}'"
    if not re.fullmatch(NAME_PATTERN, name) or len(name) > LONGEST_NAME or "__" in name:
        return f"the name '{_shortened(name)}'"
    return ""


def name_remedy(name: object) -> str:
    """Return how a bad name can be written."""
    if isinstance(name, str) and name not in RESERVED:
        better = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")
        if not name_problem(better):
            return f"write {better}"
    return "rename it, for example gain_rung"


def _shortened(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:57]}..."


def _near(key: str, layout: Layout) -> bool:
    return "did you mean" in suggestion(key, layout)


def _is_integer(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())


def _is_name_list(value: object) -> bool:
    return isinstance(value, list) and all(not name_problem(name) for name in value)


def _is_text_list(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(map(_is_text, value))


def _is_formula(value: object) -> bool:
    return isinstance(value, int) or _is_text(value)


_TESTS: Mapping[Shape, Callable[[Any], bool]] = {
    Shape.TEXT: _is_text,
    Shape.NAME: lambda value: not name_problem(value),
    Shape.WHOLE: lambda value: _is_integer(value) or _is_text(value),
    Shape.NUMBER: lambda value: (
        isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    ),
    Shape.BOOLEAN: lambda value: isinstance(value, bool),
    Shape.FORMULA: _is_formula,
    Shape.NAMES: _is_name_list,
    Shape.TEXTS: _is_text_list,
    Shape.STATES: lambda value: not name_problem(value) or (_is_name_list(value) and bool(value)),
    Shape.RANGE: lambda value: (
        isinstance(value, list)
        and len(value) == 2
        and all(_is_integer(end) or _is_text(end) for end in value)
    ),
    Shape.FORMULAS: lambda value: (
        isinstance(value, dict) and all(_is_formula(item) for item in value.values())
    ),
}

_REMEDIES: Mapping[Shape, str] = {
    Shape.TEXT: "write it as a text in quotes",
    Shape.WHOLE: "write it without a decimal point; scale the quantity if it has a fraction",
    Shape.NUMBER: "write a plain number such as 1.04",
    Shape.BOOLEAN: "write true or false without quotes",
    Shape.FORMULA: "write the expression in quotes; scale decimal numbers to integers",
    Shape.NAMES: 'write a list such as ["oscillating", "settled"]',
    Shape.TEXTS: 'write a list such as ["action_dropped/fault@move/*"]',
    Shape.STATES: 'write "move" or ["move", "detect"]',
    Shape.RANGE: 'write range = [0, 100] or [0, "top_rung"]',
    Shape.FORMULAS: 'write { name = "expression" } with expressions in quotes, or integers',
}


def _has_shape(value: object, rule: Key, place: str, problems: Problems) -> bool:
    if not _TESTS[rule.shape](value):
        remedy = _remedy(value, rule.shape)
        problems.add(place, _described_part(value, rule.shape), rule.shape.value, remedy)
        return False
    if rule.choices and value not in rule.choices:
        problems.add(
            place, described(value), f"one of {', '.join(rule.choices)}", "choose one of these"
        )
        return False
    return True


def _remedy(value: object, shape: Shape) -> str:
    if shape is Shape.NAME:
        return name_remedy(value)
    if shape in (Shape.NAMES, Shape.STATES):
        members = value if isinstance(value, list) else [value]
        bad = [name for name in members if isinstance(name, str) and name_problem(name)]
        if bad:
            return name_remedy(bad[0])
    return _REMEDIES[shape]


def _described_part(value: object, shape: Shape) -> str:
    """Point at the first bad member of a list or table, which says more than its type."""
    if shape is Shape.FORMULAS and isinstance(value, dict):
        key, item = next((k, v) for k, v in value.items() if not _is_formula(v))
        return f"{key} = {described(item)}"
    if shape in (Shape.NAMES, Shape.STATES) and isinstance(value, list) and value:
        return "a list with " + next(filter(None, map(name_problem, value)))
    if shape is Shape.TEXTS and isinstance(value, list) and value:
        return f"a list with {described(next(item for item in value if not _is_text(item)))}"
    if shape is Shape.RANGE and isinstance(value, list) and len(value) == 2:
        bad = next(end for end in value if not _is_integer(end) and not _is_text(end))
        return f"a range with {described(bad)}"
    if shape is Shape.NAME:
        return name_problem(value)
    return described(value)
