"""From the expression tree to C99 text with exactly the mathematical meaning.

:mod:`gainwright.language.typing` has proved that every intermediate value fits 32 bits signed, so
plain ``+ - *`` on ``int32_t`` cannot overflow. Literals are written ``INT32_C(n)``: on a target
with a 16-bit ``int`` the arithmetic is still done in 32 bits. Shifts go through functions of
``gw_fixed.h``, which neither shift a negative value nor rely on implementation-defined behaviour.
A boolean value is a C ``int`` that is 0 or 1. Every compound is in parentheses.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from gainwright.language.expression import (
    SHIFTS,
    Binary,
    Boolean,
    Choice,
    Expression,
    InState,
    Integer,
    Operator,
    Reference,
    Unary,
)
from gainwright.language.functions import FUNCTIONS, expanded
from gainwright.language.model import Kind, Signal
from gainwright_codegen.trial_c.identifiers import constant

INCLUDES = ("gw_fixed.h", "gw_select.h")
"""Headers that the text needs."""

_INT32_MIN = -(2**31)
_LARGEST_SHIFT = 30

_SAME_TOKEN = frozenset(
    {
        Operator.ADD,
        Operator.SUBTRACT,
        Operator.MULTIPLY,
        Operator.LESS,
        Operator.LESS_EQUAL,
        Operator.GREATER,
        Operator.GREATER_EQUAL,
        Operator.EQUAL,
        Operator.NOT_EQUAL,
    }
)
"""Operators that C writes as the language of the specification does."""

_FUNCTIONS = {
    Operator.MINIMUM: "gw_minimum_i32",
    Operator.MAXIMUM: "gw_maximum_i32",
    Operator.SHIFT_LEFT: "gw_shift_left_i32",
    Operator.SHIFT_RIGHT: "gw_floor_shift_i32",
}

_CHAINS = (
    frozenset({Operator.ADD, Operator.SUBTRACT}),
    frozenset({Operator.MULTIPLY}),
    frozenset({Operator.AND}),
    frozenset({Operator.OR}),
)
"""Operators that C too groups from the left: ``(a - b + c)`` needs no inner parentheses, and
compilers limit how deep these may nest."""

_TOKENS = {operator: operator.value for operator in _SAME_TOKEN} | {
    Operator.AND: "&&",
    Operator.OR: "||",
}

_OF_EQUAL_OPERANDS = {
    Operator.LESS: False,
    Operator.LESS_EQUAL: True,
    Operator.GREATER: False,
    Operator.GREATER_EQUAL: True,
    Operator.EQUAL: True,
    Operator.NOT_EQUAL: False,
}
"""What a comparison of a thing with itself gives; compilers warn about it if it is written out."""

_COMMUTATIVE = frozenset({Operator.ADD, Operator.MULTIPLY, Operator.EQUAL, Operator.NOT_EQUAL})
_MIRRORED = {Operator.GREATER: Operator.LESS, Operator.GREATER_EQUAL: Operator.LESS_EQUAL}


@dataclass(frozen=True, slots=True)
class Given:
    """An input that is not limited to its range."""

    text: str
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class Scope:
    """What the names of an expression are called in C."""

    now: Mapping[str, str]
    """Name to a C expression of its value: ``int32_t``, or for a boolean value 0 or 1."""
    after: Mapping[str, str] = field(default_factory=dict)
    """The same for ``next(name)``."""
    state_now: str = ""
    """C expression of the state, compared with ``GW_STATE_...``; empty if there is none."""
    state_after: str = ""
    constants: Mapping[str, str] = field(default_factory=dict)
    """Name of a constant of the trial to that in C; where it has none, its value is written."""
    as_given: Mapping[str, Given] = field(default_factory=dict)
    """Name of an integer input to what the drive gave, which may lie outside its range."""


def c_integer(value: int) -> str:
    """Return a C constant expression of type ``int32_t``."""
    if value == _INT32_MIN:
        return "INT32_MIN"
    return f"(-INT32_C({-value}))" if value < 0 else f"INT32_C({value})"


def state_constant(name: str) -> str:
    """Return the enumerator of a state."""
    return f"GW_STATE_{name.upper()}"


def signal_value(container: str, prefix: str, signal: Signal) -> str:
    """Return the value of a signal in an ``int32_t`` array; a boolean value as 0 or 1."""
    text = f"{container}[{constant(prefix, signal.name)}]"
    return f"({text} != 0)" if signal.kind is Kind.BOOLEAN else text


def c_expression(expression: Expression, scope: Scope) -> str:
    """Return the expression as C99 text.

    Args:
        expression: a checked tree; references to names or states that ``scope`` does not have
            raise ``KeyError``.
        scope: the C names.
    """
    match expression:
        case Integer(value, name):
            return scope.constants.get(name, c_integer(value))
        case Boolean(value):
            return _boolean(value)
        case Reference(name, after):
            return (scope.after if after else scope.now)[name]
        case InState(states, after):
            return _in_state(states, scope.state_after if after else scope.state_now)
        case Unary(Operator.NEGATE, operand):
            return f"(-{c_expression(operand, scope)})"
        case Unary(Operator.NOT, Reference() as operand):
            return _denied(c_expression(operand, scope))
        case Unary(Operator.NOT, operand):
            return f"(!{c_expression(operand, scope)})"
        case Binary(operator, left, Integer(bits, _)) if operator in SHIFTS:
            return _shift(_FUNCTIONS[operator], c_expression(left, scope), bits)
        case Binary(operator) if operator in FUNCTIONS and operator not in _FUNCTIONS:
            return c_expression(expanded(expression), scope)
        case Binary(operator, left, right):
            return f"({_binary(operator, left, right, scope)})"
        case Choice(condition, consequence, alternative):
            parts = (c_expression(part, scope) for part in (condition, consequence, alternative))
            return "({} ? {} : {})".format(*parts)
    raise TypeError(f"no C text for {expression!r}")


def _denied(text: str) -> str:
    """Return the opposite of a name; one that stands for ``(x != 0)`` is ``(x == 0)``."""
    for token, opposite in (("!=", "=="), (">", "<=")):
        denied = re.sub(
            rf"^(\((?:[^()]|\([^()]*\))*) {token} (0U?)\)$", rf"\1 {opposite} \2)", text
        )
        if denied != text:
            return denied
    return f"(!{text})"


def c_word(expression: Expression, scope: Scope, kind: Kind) -> str:
    """Return an expression as an ``int32_t``: what is boolean becomes 0 or 1."""
    text = c_expression(expression, scope)
    if kind is not Kind.BOOLEAN or isinstance(expression, Boolean):
        return text
    return f"{text if text.startswith('(') else f'({text})'} ? 1 : 0"


def _boolean(value: bool) -> str:
    return "1" if value else "0"


def _shift(function: str, operand: str, bits: int) -> str:
    """Return a shift; the functions take at most 30 bits, the language allows 31."""
    if bits > _LARGEST_SHIFT:
        return _shift(function, f"{function}({operand}, {_LARGEST_SHIFT}U)", bits - _LARGEST_SHIFT)
    return f"{function}({operand}, {bits}U)"


def _in_state(states: tuple[str, ...], state: str) -> str:
    if not state:
        raise KeyError("in_state")
    return "(" + " || ".join(f"({state} == {state_constant(name)})" for name in states) + ")"


def _binary(operator: Operator, left: Expression, right: Expression, scope: Scope) -> str:
    """Return a binary expression without parentheses around it."""
    last = c_expression(right, scope)
    if (given := _as_given(operator, left, right, scope)) is not None:
        return f"{given} {operator.value} {last}"
    if isinstance(left, Binary) and _chained(left.operator, operator):
        first = _binary(left.operator, left.left, left.right, scope)
    else:
        first = c_expression(left, scope)
    if operator in _OF_EQUAL_OPERANDS and _ordered(left) == _ordered(right):
        return _boolean(_OF_EQUAL_OPERANDS[operator])
    if operator in _TOKENS:
        return f"{first} {_TOKENS[operator]} {last}"
    if operator is Operator.IMPLIES:
        return f"(!{first}) || {last}"
    return f"{_FUNCTIONS[operator]}({first}, {last})"


def _as_given(operator: Operator, left: Expression, right: Expression, scope: Scope) -> str | None:
    """Return an input that may be compared as it was given: limiting it would change nothing.

    The threshold is then such that what lies outside the range compares as the nearest end does.
    """
    match left, right:
        case Reference(name, False), Integer(value, _) if name in scope.as_given:
            given = scope.as_given[name]
            above, below = given.low < value <= given.high, given.low <= value < given.high
            fits = {
                Operator.GREATER_EQUAL: above,
                Operator.LESS: above,
                Operator.GREATER: below,
                Operator.LESS_EQUAL: below,
                Operator.EQUAL: above and below,
                Operator.NOT_EQUAL: above and below,
            }
            return given.text if fits.get(operator, False) else None
    return None


def _ordered(expression: Expression) -> object:
    """Return a form that is the same for expressions that differ only in the order of operands."""
    match expression:
        case Integer(value, _):
            return value
        case Unary(operator, operand):
            return operator, _ordered(operand)
        case Binary(operator, left, right):
            sides = [_ordered(left), _ordered(right)]
            if operator in _MIRRORED:
                operator, sides = _MIRRORED[operator], sides[::-1]
            return operator, *(sorted(sides, key=repr) if operator in _COMMUTATIVE else sides)
        case Choice(condition, consequence, alternative):
            return _ordered(condition), _ordered(consequence), _ordered(alternative)
    return expression


def _chained(inner: Operator, outer: Operator) -> bool:
    return any(inner in chain and outer in chain for chain in _CHAINS)
