"""Expressions of the second reader: nested tuples ``(operation, operand, ...)``, and values."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from lark import Lark, Token, Tree

Term = tuple[Any, ...]
"""``("integer", 3)``, ``("name", "wait")``, ``("in_state", "move", "detect")``, or an operation of
the grammar with terms as operands."""


@cache
def _grammar() -> Lark:
    text = Path(__file__).with_name("expression.lark").read_text(encoding="utf-8")
    return Lark(text, parser="lalr")


@cache
def term_of(text: str) -> Term:
    """Return the term of an expression's text."""
    return _term(_grammar().parse(text))


def term_of_value(value: object) -> Term:
    """Return the term of what a file gives where an expression may stand."""
    if isinstance(value, bool):
        return ("true",) if value else ("false",)
    return ("integer", value) if isinstance(value, int) else term_of(str(value))


def _term(tree: Tree[Token]) -> Term:
    operation = str(tree.data)
    operands = [_term(part) if isinstance(part, Tree) else str(part) for part in tree.children]
    if operation == "integer":
        return ("integer", int(str(operands[0]).replace("_", ""), 0))
    if operation == "negate" and operands[0][0] == "integer":
        return ("integer", -operands[0][1])
    return (operation, *operands)


_OPERATIONS: Mapping[str, Callable[..., int]] = {
    "implies": lambda a, b: int(not a or bool(b)),
    "or": lambda a, b: int(bool(a) or bool(b)),
    "and": lambda a, b: int(bool(a) and bool(b)),
    "not": lambda a: int(not a),
    "less": lambda a, b: int(a < b),
    "less_equal": lambda a, b: int(a <= b),
    "greater": lambda a, b: int(a > b),
    "greater_equal": lambda a, b: int(a >= b),
    "equal": lambda a, b: int(a == b),
    "not_equal": lambda a, b: int(a != b),
    "shift_left": lambda a, b: a * 2**b,
    "shift_right": lambda a, b: a // 2**b,
    "add": lambda a, b: a + b,
    "subtract": lambda a, b: a - b,
    "multiply": lambda a, b: a * b,
    "negate": lambda a: -a,
    "minimum": lambda a, b: a if a < b else b,
    "maximum": lambda a, b: a if a > b else b,
    "true": lambda: 1,
    "false": lambda: 0,
}


def value_of(
    term: Term,
    names: Mapping[str, int],
    state: str = "",
    next_names: Mapping[str, int] | None = None,
    next_state: str = "",
) -> int:
    """Return the value of a term; booleans are 0 and 1. KeyError if a name has none."""
    operation, *operands = term
    if operation == "integer":
        return int(operands[0])
    if operation == "name":
        return names[operands[0]]
    if operation == "next_name":
        return (next_names or {})[operands[0]]
    if operation == "in_state":
        return int(state in operands)
    if operation == "next_state":
        return int(next_state in operands[0][1:])
    if operation == "choice":
        chosen = 1 if value_of(operands[0], names, state, next_names, next_state) else 2
        return value_of(operands[chosen], names, state, next_names, next_state)
    values = [value_of(part, names, state, next_names, next_state) for part in operands]
    return _OPERATIONS[operation](*values)
