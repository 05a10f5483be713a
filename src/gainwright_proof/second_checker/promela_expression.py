"""From the expression tree to Promela, whose arithmetic is that of 32-bit C.

:mod:`gainwright.language.typing` has proved that every intermediate value fits. A boolean is 0
or 1.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
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
from gainwright.language.functions import FUNCTIONS, expanded

_TOKENS = {Operator.AND: "&&", Operator.OR: "||"}


@dataclass(frozen=True, slots=True)
class PromelaNames:
    """What names are called in the model."""

    now: Callable[[str], str]
    after: Callable[[str], str]
    states: Mapping[str, int]
    """Number of each state."""
    state_now: str = "b_state"
    state_after: str = field(default="state")


def promela_expression(expression: Expression, names: PromelaNames) -> str:
    """Return the expression as Promela text, every compound in parentheses."""

    def text(part: Expression) -> str:
        match part:
            case Integer(value, _):
                return f"({value})" if value < 0 else str(value)
            case Boolean(value):
                return "1" if value else "0"
            case Reference(name, after):
                return (names.after if after else names.now)(name)
            case InState(states, after):
                moment = names.state_after if after else names.state_now
                tests = (f"{moment} == {names.states[name]}" for name in states)
                return "(" + " || ".join(tests) + ")"
            case Unary(Operator.NOT, operand):
                return f"(!{text(operand)})"
            case Unary(_, operand):
                return f"(-{text(operand)})"
            case Choice(condition, first, second):
                return f"({text(condition)} -> {text(first)} : {text(second)})"
            case Binary(Operator.IMPLIES, left, right):
                return f"(!{text(left)} || {text(right)})"
            case Binary(operator) if operator in FUNCTIONS:
                return text(expanded(part))
            case Binary(operator, left, right):
                token = _TOKENS.get(operator, operator.value)
                return f"({text(left)} {token} {text(right)})"

    return text(expression)
