"""Says an expression as an English sentence for reviewers."""

from __future__ import annotations

from gainwright.language.expression import (
    COMPARISONS,
    CONNECTIVES,
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

_COMPARED = {
    Operator.LESS: "is less than",
    Operator.LESS_EQUAL: "is at most",
    Operator.GREATER: "is greater than",
    Operator.GREATER_EQUAL: "is at least",
    Operator.EQUAL: "equals",
    Operator.NOT_EQUAL: "differs from",
}
_OPPOSITE = {
    Operator.LESS: Operator.GREATER_EQUAL,
    Operator.GREATER_EQUAL: Operator.LESS,
    Operator.GREATER: Operator.LESS_EQUAL,
    Operator.LESS_EQUAL: Operator.GREATER,
    Operator.EQUAL: Operator.NOT_EQUAL,
    Operator.NOT_EQUAL: Operator.EQUAL,
}
_COMPUTED = {
    Operator.ADD: "plus",
    Operator.SUBTRACT: "minus",
    Operator.MULTIPLY: "times",
    Operator.SHIFT_LEFT: "shifted left by",
    Operator.SHIFT_RIGHT: "shifted right by",
}


def sentence(expression: Expression) -> str:
    """Return a boolean expression as a sentence with a capital letter and a full stop."""
    text = _claim(expression)
    return text[0].upper() + text[1:] + "."


def sentences(expression: Expression) -> list[str]:
    """Return one sentence for each part of a top-level ``and``, for long formulas."""
    if isinstance(expression, Binary) and expression.operator is Operator.AND:
        return [*sentences(expression.left), *sentences(expression.right)]
    return [sentence(expression)]


def words(name: str) -> str:
    """Return a name of the specification as plain words."""
    return name.replace("_", " ")


def _claim(expression: Expression) -> str:
    match expression:
        case Boolean(value):
            return "always" if value else "never"
        case Reference(name, after):
            return f"{words(name)} is true{_later(after)}"
        case InState(states, after):
            verb = "the next state is" if after else "the state is"
            return f"{verb} {_listed(states)}"
        case Unary(Operator.NOT, operand):
            return _denial(operand)
        case Binary(Operator.IMPLIES, condition, consequence):
            return f"whenever {_claim(condition)}, then {_claim(consequence)}"
        case Binary(Operator.AND | Operator.OR as operator, left, right):
            joint = f" {operator.value} "
            return joint.join(_grouped(side, operator) for side in (left, right))
        case Binary(operator, left, right) if operator in COMPARISONS:
            return f"{_value(left)} {_COMPARED[operator]} {_value(right)}"
        case Choice(condition, consequence, alternative):
            return (
                f"if {_claim(condition)} then {_claim(consequence)}, "
                f"otherwise {_claim(alternative)}"
            )
    return f"{_amount(expression)} is not zero"


def _denial(operand: Expression) -> str:
    match operand:
        case Reference(name, after):
            return f"{words(name)} is false{_later(after)}"
        case InState(states, after):
            verb = "the next state is not" if after else "the state is not"
            return f"{verb} {_listed(states)}"
        case Unary(Operator.NOT, inner):
            return _claim(inner)
        case Binary(operator, left, right) if operator in COMPARISONS:
            return _claim(Binary(_OPPOSITE[operator], left, right))
        case Boolean(value):
            return _claim(Boolean(not value))
    return f"it is not so that ({_claim(operand)})"


def _grouped(side: Expression, operator: Operator) -> str:
    text = _claim(side)
    mixed = isinstance(side, Choice) or (
        isinstance(side, Binary) and side.operator in CONNECTIVES and side.operator is not operator
    )
    return f"({text})" if mixed else text


def _value(expression: Expression) -> str:
    """Say one side of a comparison: an amount, or a boolean value compared with another."""
    match expression:
        case Binary(operator, _, _) if operator in CONNECTIVES | COMPARISONS:
            return f"({_claim(expression)})"
        case InState() | Unary(Operator.NOT, _):
            return f"({_claim(expression)})"
        case Boolean(value):
            return "true" if value else "false"
    return _amount(expression)


def _amount(expression: Expression) -> str:
    match expression:
        case Integer(value, name):
            return f"{words(name)} ({value})" if name else str(value)
        case Reference(name, after):
            return f"the next {words(name)}" if after else words(name)
        case Unary(Operator.NEGATE, operand):
            return f"minus {_inner(operand)}"
        case Binary(operator, left, right) if operator in FUNCTIONS:
            return FUNCTIONS[operator].words.format(_amount(left), _amount(right))
        case Binary(operator, left, right) if operator in _COMPUTED:
            return f"{_inner(left)} {_COMPUTED[operator]} {_inner(right)}"
        case Choice(condition, consequence, alternative):
            return f"{_value(consequence)} if {_claim(condition)}, otherwise {_value(alternative)}"
        case Binary(operator, _, _) if operator not in CONNECTIVES | COMPARISONS:
            raise ValueError(f"no words for the operator {operator}")
        case Unary(operator, _) if operator is not Operator.NOT:
            raise ValueError(f"no words for the operator {operator}")
    return _claim(expression)


def _inner(expression: Expression) -> str:
    text = _amount(expression)
    return f"({text})" if isinstance(expression, Binary | Choice) else text


def _later(after: bool) -> str:
    return " after the tick" if after else ""


def _listed(names: tuple[str, ...]) -> str:
    spoken = [words(name) for name in names]
    return spoken[0] if len(spoken) == 1 else f"{', '.join(spoken[:-1])} or {spoken[-1]}"
