"""Expression trees as SMT-LIB terms: integers are signed bit-vectors, boolean values are Bool.

The loader proves by interval arithmetic that every intermediate value fits 32 bits;
:func:`exactness` states the same as formulas, so that a solver proves it again without intervals.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from gainwright.language.expression import (
    ARITHMETIC,
    Binary,
    Boolean,
    Choice,
    Expression,
    InState,
    Integer,
    Operator,
    Reference,
    Unary,
    walk,
)
from gainwright.language.functions import FUNCTIONS, expanded
from gainwright_proof.induction.text import WIDTH, bit_vector, disjunction

_APPLIED = {
    Operator.ADD: "bvadd",
    Operator.SUBTRACT: "bvsub",
    Operator.MULTIPLY: "bvmul",
    Operator.SHIFT_LEFT: "bvshl",
    Operator.SHIFT_RIGHT: "bvashr",
    Operator.LESS: "bvslt",
    Operator.LESS_EQUAL: "bvsle",
    Operator.GREATER: "bvsgt",
    Operator.GREATER_EQUAL: "bvsge",
    Operator.EQUAL: "=",
    Operator.NOT_EQUAL: "distinct",
    Operator.AND: "and",
    Operator.OR: "or",
    Operator.IMPLIES: "=>",
    Operator.MINIMUM: "minimum",
    Operator.MAXIMUM: "maximum",
}

Exactness = tuple[Expression, str]
"""A part of an expression and the formula that its value is exact in 32 bits."""


class Symbols(Protocol):
    """Says which SMT-LIB symbol stands for what an expression reads."""

    def value(self, name: str, after: bool) -> str: ...

    def state(self, after: bool) -> str: ...

    def constant(self, name: str) -> str: ...

    def state_code(self, name: str) -> str: ...


def translate(expression: Expression, symbols: Symbols) -> str:
    """Return the term that means the same as the expression.

    ``minimum`` and ``maximum`` are functions that the script defines.
    """

    def term(part: Expression) -> str:
        return translate(part, symbols)

    match expression:
        case Integer(value, name):
            return symbols.constant(name) if name else bit_vector(value)
        case Boolean(value):
            return "true" if value else "false"
        case Reference(name, after):
            return symbols.value(name, after)
        case InState(states, after):
            now = symbols.state(after)
            return disjunction(f"(= {now} {symbols.state_code(state)})" for state in states)
        case Unary(Operator.NOT, operand):
            return f"(not {term(operand)})"
        case Unary(_, operand):
            return f"(bvneg {term(operand)})"
        case Choice(condition, consequence, alternative):
            return f"(ite {term(condition)} {term(consequence)} {term(alternative)})"
        case Binary(Operator.AND | Operator.OR as operator, _, _):
            parts = " ".join(map(term, _chain(expression, operator)))
            return f"({_APPLIED[operator]} {parts})"
        case Binary(operator) if operator in FUNCTIONS and operator not in _APPLIED:
            return term(expanded(expression))
        case Binary(operator, left, right):
            return f"({_APPLIED[operator]} {term(left)} {term(right)})"


def _chain(expression: Expression, operator: Operator) -> list[Expression]:
    """Return the operands of nested uses of one associative operator, left to right."""
    match expression:
        case Binary(found, left, right) if found is operator:
            return [*_chain(left, operator), *_chain(right, operator)]
    return [expression]


def conjuncts(expression: Expression) -> list[Expression]:
    """Return the parts of a top-level ``and``, left to right."""
    return _chain(expression, Operator.AND)


def exactness(expression: Expression, symbols: Symbols) -> list[Exactness]:
    """Return for each part that computes the formula that it does not overflow.

    Each formula compares the 32-bit result with the one in 64 bits, which cannot overflow:
    ``and``, ``or``, ``if`` may be evaluated in any order, so no part is excused by a condition.
    """
    found: dict[Expression, str] = {}
    for part in walk(expression):
        formula = _exact(part, lambda operand: translate(operand, symbols))
        if formula and part not in found:
            found[part] = formula
    return list(found.items())


def _exact(part: Expression, term: Callable[[Expression], str]) -> str:
    match part:
        case Unary(Operator.NEGATE, operand):
            return f"(= {_wide(term(part))} (bvneg {_wide(term(operand))}))"
        case Binary(operator, left, right) if operator in ARITHMETIC | {Operator.SHIFT_LEFT}:
            wide = f"({_APPLIED[operator]} {_wide(term(left))} {_wide(term(right))})"
            return f"(= {_wide(term(part))} {wide})"
    return ""


def _wide(term: str) -> str:
    return f"((_ sign_extend {WIDTH}) {term})"
