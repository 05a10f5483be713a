"""The value of an expression: the plain definition of what each operator means."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from gainwright.language.expression import (
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
from gainwright.language.functions import FUNCTIONS


@dataclass(frozen=True, slots=True)
class Moment:
    """State and named values at one time; boolean values are 0 and 1."""

    values: Mapping[str, int]
    state: str = ""


_NOTHING = Moment({})


@dataclass(frozen=True, slots=True)
class Step:
    """The moments before and after a tick; ``next(...)`` reads ``after``."""

    before: Moment
    after: Moment = field(default=_NOTHING)


def evaluate(expression: Expression, values: Mapping[str, int]) -> int:
    """Return the value of an expression without ``in_state`` and ``next``; boolean is 0 or 1.

    Raises KeyError if a name has no value.
    """
    return evaluate_over(expression, Step(Moment(values)))


def evaluate_over(expression: Expression, step: Step) -> int:
    """Return the value of any expression over a step; boolean is 0 or 1."""
    match expression:
        case Integer(value, _):
            return value
        case Boolean(value):
            return int(value)
        case Reference(name, after):
            return int((step.after if after else step.before).values[name])
        case InState(states, after):
            return int((step.after if after else step.before).state in states)
        case Unary(Operator.NOT, operand):
            return 1 - evaluate_over(operand, step)
        case Unary(_, operand):
            return -evaluate_over(operand, step)
        case Choice(condition, consequence, alternative):
            chosen = consequence if evaluate_over(condition, step) else alternative
            return evaluate_over(chosen, step)
        case Binary(operator, left, right):
            return _apply(operator, evaluate_over(left, step), evaluate_over(right, step))


def _apply(operator: Operator, left: int, right: int) -> int:
    match operator:
        case Operator.ADD:
            return left + right
        case Operator.SUBTRACT:
            return left - right
        case Operator.MULTIPLY:
            return left * right
        case Operator.SHIFT_LEFT:
            return left << right
        case Operator.SHIFT_RIGHT:
            return left >> right
        case Operator.LESS:
            return int(left < right)
        case Operator.LESS_EQUAL:
            return int(left <= right)
        case Operator.GREATER:
            return int(left > right)
        case Operator.GREATER_EQUAL:
            return int(left >= right)
        case Operator.EQUAL:
            return int(left == right)
        case Operator.NOT_EQUAL:
            return int(left != right)
        case Operator.AND:
            return left & right
        case Operator.OR:
            return left | right
        case Operator.IMPLIES:
            return int(left <= right)
    if operator in FUNCTIONS:
        return FUNCTIONS[operator].value(left, right)
    raise ValueError(f"{operator} has one operand")
