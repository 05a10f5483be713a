"""Writes an expression tree back as text that parses to the same tree."""

from __future__ import annotations

from gainwright.language.expression import (
    COMPARISONS,
    SHIFTS,
    Binary,
    Boolean,
    Choice,
    Expression,
    InState,
    Integer,
    Level,
    Operator,
    Reference,
    Unary,
)
from gainwright.language.functions import FUNCTIONS

_LEVELS = {
    Operator.IMPLIES: Level.IMPLICATION,
    Operator.OR: Level.DISJUNCTION,
    Operator.AND: Level.CONJUNCTION,
    **dict.fromkeys(COMPARISONS, Level.COMPARISON),
    **dict.fromkeys(SHIFTS, Level.SHIFT),
    Operator.ADD: Level.SUM,
    Operator.SUBTRACT: Level.SUM,
    Operator.MULTIPLY: Level.PRODUCT,
}


def write(expression: Expression) -> str:
    """Return the text of an expression, with no more brackets than the grammar needs."""
    return _write(expression)[0]


def _write(expression: Expression) -> tuple[str, int]:
    """Return text and binding level (higher binds tighter)."""
    match expression:
        case Integer(value, name):
            return name or str(value), Level.ATOM
        case Boolean(value):
            return "true" if value else "false", Level.ATOM
        case Reference(name, after):
            return f"next({name})" if after else name, Level.ATOM
        case InState(states, after):
            text = f"in_state({', '.join(states)})"
            return f"next({text})" if after else text, Level.ATOM
        case Unary(Operator.NOT, operand):
            return f"not {_at_least(operand, Level.NEGATION)}", Level.NEGATION
        case Unary(_, operand):
            return f"-{_operand_of_sign(operand)}", Level.SIGN
        case Choice(condition, consequence, alternative):
            parts = (write(condition), write(consequence), write(alternative))
            return "if {} then {} else {}".format(*parts), Level.CHOICE
        case Binary(operator, left, right) if _level(operator) is None:
            return f"{operator.value}({write(left)}, {write(right)})", Level.ATOM
        case Binary(operator, left, right):
            level = _level(operator)
            # implies groups to the right, comparisons not at all, the others to the left.
            tighter_left = level + (operator is Operator.IMPLIES or level == Level.COMPARISON)
            tighter_right = level + (operator is not Operator.IMPLIES)
            return (
                f"{_at_least(left, tighter_left)} {operator.value} "
                f"{_at_least(right, tighter_right)}",
                level,
            )


def _level(operator: Operator) -> Level | None:
    """Return where an operator stands between its operands; None if it is called."""
    return FUNCTIONS[operator].level if operator in FUNCTIONS else _LEVELS[operator]


def _at_least(expression: Expression, level: int) -> str:
    text, own = _write(expression)
    return text if own >= level else f"({text})"


def _operand_of_sign(operand: Expression) -> str:
    # -5 would be read as a literal, so a negated literal keeps its bracket.
    if isinstance(operand, Integer) and not operand.name and operand.value >= 0:
        return f"({operand.value})"
    return _at_least(operand, Level.SIGN)
