"""A moment formula inside one state: outputs and ``in_state`` are replaced by what they are there.

What is left reads variables only, so it can be a fact about that state.
"""

from __future__ import annotations

from gainwright.language.expression import (
    Binary,
    Boolean,
    Choice,
    Expression,
    InState,
    Operator,
    Reference,
    Unary,
)
from gainwright.language.model import Trial


def specialised(expression: Expression, state: str, trial: Trial) -> Expression:
    """Return an invariant formula as a formula over variables that means the same in a state."""
    outputs = {
        output.name: next(s for s in trial.states if s.name == state).outputs.get(
            output.name, output.default
        )
        for output in trial.outputs
    }

    def inside(part: Expression) -> Expression:
        match part:
            case InState(states, _):
                return Boolean(state in states)
            case Reference(name, _) if outputs.get(name) is not None:
                return inside(outputs[name])  # type: ignore[arg-type]
            case Unary(operator, operand):
                return _unary(operator, inside(operand))
            case Binary(operator, left, right):
                return _binary(operator, inside(left), inside(right))
            case Choice(condition, consequence, alternative):
                return _choice(inside(condition), inside(consequence), inside(alternative))
        return part

    return inside(expression)


def negated(expression: Expression) -> Expression:
    """Return the denial of a boolean expression, without a double ``not``."""
    return _unary(Operator.NOT, expression)


def _unary(operator: Operator, operand: Expression) -> Expression:
    match operator, operand:
        case Operator.NOT, Boolean(value):
            return Boolean(not value)
        case Operator.NOT, Unary(Operator.NOT, inner):
            return inner
    return Unary(operator, operand)


def _binary(operator: Operator, left: Expression, right: Expression) -> Expression:
    match operator:
        case Operator.AND:
            return _connected(operator, left, right, neutral=True)
        case Operator.OR:
            return _connected(operator, left, right, neutral=False)
        case Operator.IMPLIES:
            if Boolean(True) in (right,) or left == Boolean(False):
                return Boolean(True)
            if left == Boolean(True):
                return right
            if right == Boolean(False):
                return negated(left)
        case Operator.EQUAL:
            if left == right:
                return Boolean(True)
            if isinstance(left, Boolean):
                return right if left.value else negated(right)
            if isinstance(right, Boolean):
                return left if right.value else negated(left)
    return Binary(operator, left, right)


def _connected(
    operator: Operator, left: Expression, right: Expression, neutral: bool
) -> Expression:
    if Boolean(not neutral) in (left, right):
        return Boolean(not neutral)
    if left == Boolean(neutral):
        return right
    if right == Boolean(neutral):
        return left
    return Binary(operator, left, right)


def _choice(condition: Expression, consequence: Expression, alternative: Expression) -> Expression:
    if isinstance(condition, Boolean):
        return consequence if condition.value else alternative
    return Choice(condition, consequence, alternative)
