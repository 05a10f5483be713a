"""Writes an expression tree back as text that parses to the same tree."""

from __future__ import annotations

from gainwright.language.expression import (
    SELECTIONS,
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

_CHOICE, _IMPLICATION, _NEGATION, _COMPARISON, _ATOM = 0, 1, 4, 5, 10
_LEVELS = {
    Operator.IMPLIES: _IMPLICATION,
    Operator.OR: 2,
    Operator.AND: 3,
    Operator.LESS: _COMPARISON,
    Operator.LESS_EQUAL: _COMPARISON,
    Operator.GREATER: _COMPARISON,
    Operator.GREATER_EQUAL: _COMPARISON,
    Operator.EQUAL: _COMPARISON,
    Operator.NOT_EQUAL: _COMPARISON,
    Operator.SHIFT_LEFT: 6,
    Operator.SHIFT_RIGHT: 6,
    Operator.ADD: 7,
    Operator.SUBTRACT: 7,
    Operator.MULTIPLY: 8,
}
_SIGN = 9


def write(expression: Expression) -> str:
    """Return the text of an expression, with no more brackets than the grammar needs."""
    return _write(expression)[0]


def _write(expression: Expression) -> tuple[str, int]:
    """Return text and binding level (higher binds tighter)."""
    match expression:
        case Integer(value, name):
            return name or str(value), _ATOM
        case Boolean(value):
            return "true" if value else "false", _ATOM
        case Reference(name, after):
            return f"next({name})" if after else name, _ATOM
        case InState(states, after):
            text = f"in_state({', '.join(states)})"
            return f"next({text})" if after else text, _ATOM
        case Unary(Operator.NOT, operand):
            return f"not {_at_least(operand, _NEGATION)}", _NEGATION
        case Unary(_, operand):
            return f"-{_operand_of_sign(operand)}", _SIGN
        case Choice(condition, consequence, alternative):
            parts = (write(condition), write(consequence), write(alternative))
            return "if {} then {} else {}".format(*parts), _CHOICE
        case Binary(operator, left, right) if operator in SELECTIONS:
            return f"{operator.value}({write(left)}, {write(right)})", _ATOM
        case Binary(operator, left, right):
            level = _LEVELS[operator]
            # implies groups to the right, comparisons not at all, the others to the left.
            tighter_left = level + (operator is Operator.IMPLIES or level == _COMPARISON)
            tighter_right = level + (operator is not Operator.IMPLIES)
            return (
                f"{_at_least(left, tighter_left)} {operator.value} "
                f"{_at_least(right, tighter_right)}",
                level,
            )


def _at_least(expression: Expression, level: int) -> str:
    text, own = _write(expression)
    return text if own >= level else f"({text})"


def _operand_of_sign(operand: Expression) -> str:
    # -5 would be read as a literal, so a negated literal keeps its bracket.
    if isinstance(operand, Integer) and not operand.name and operand.value >= 0:
        return f"({operand.value})"
    return _at_least(operand, _SIGN)
