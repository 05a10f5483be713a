"""Simplifies expressions: what is known of a tick (its row, its states) is put in and folded.

Every rule keeps the value for all values of the names that are left; the tests hold each result to
:mod:`gainwright.semantics.evaluate`. Names of constants are dropped, so that equal values are equal
trees.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Protocol

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
    children,
)
from gainwright.language.model import Trial
from gainwright.language.scope import Bounds, Scope
from gainwright.language.typing import infer
from gainwright.semantics.evaluate import evaluate

TRUE, FALSE = Boolean(True), Boolean(False)
Leaf = Callable[[Reference | InState], Expression]
"""Says what a name or state test becomes; itself if nothing is known of it."""


class Facts(Protocol):
    """Boolean values that are known of simplified expressions; a dictionary is one form."""

    def get(self, expression: Expression, otherwise: Expression, /) -> Expression:
        """Return what is known of an expression, or ``otherwise``."""
        ...


class RangeFacts:
    """Comparisons that come out the same for all values that the names can have."""

    def __init__(self, scope: Scope) -> None:
        self._scope = scope

    def get(self, expression: Expression, otherwise: Expression, /) -> Expression:
        """Return the boolean value of a comparison that the ranges decide, or ``otherwise``."""
        if isinstance(expression, Binary) and expression.operator in COMPARISONS:
            bounds, _ = infer(expression, self._scope)
            if bounds is not None and bounds.constant:
                return Boolean(bool(bounds.low))
        return otherwise


_REFLEXIVE = frozenset({Operator.LESS_EQUAL, Operator.GREATER_EQUAL, Operator.EQUAL})
_IDEMPOTENT = frozenset({Operator.AND, Operator.OR, Operator.MINIMUM, Operator.MAXIMUM})


def tick_scope(trial: Trial) -> Scope:
    """Return what a simplified expression over a tick can read, with ranges."""
    inputs, variables = (
        {signal.name: Bounds(signal.kind, signal.low, signal.high) for signal in group}
        for group in (trial.inputs, trial.variables)
    )
    return Scope(readable=inputs | variables, readable_next=variables)


def rewritten(expression: Expression, leaf: Leaf, facts: Facts | None = None) -> Expression:
    """Return the expression with every name and state test replaced, and simplified.

    Parts that are then equal to one of ``facts`` become what is known of them.
    """
    simplified = _rewritten(expression, leaf, facts)
    return facts.get(simplified, simplified) if facts is not None else simplified


def _rewritten(expression: Expression, leaf: Leaf, facts: Facts | None) -> Expression:
    match expression:
        case Integer(value, _):
            return Integer(value)
        case Boolean():
            return expression
        case Reference() | InState():
            return leaf(expression)
        case Binary(operator, left, right) if operator in CONNECTIVES:
            first = rewritten(left, leaf, facts)
            if isinstance(first, Boolean) and first.value is _DECIDES[operator]:
                return Boolean(operator is not Operator.AND)
            return _binary(operator, first, rewritten(right, leaf, facts))
        case _:
            parts = [rewritten(part, leaf, facts) for part in children(expression)]
            return recombined(expression, parts)


_DECIDES = {Operator.AND: False, Operator.OR: True, Operator.IMPLIES: False}
"""The boolean value of the left side with which the right side does not matter."""


def recombined(expression: Expression, parts: Sequence[Expression]) -> Expression:
    """Return the expression with other operands, which are simplified already, and simplified."""
    match expression:
        case Unary(operator, _):
            return _unary(operator, *parts)
        case Binary(operator, _, _):
            return _binary(operator, *parts)
        case Choice():
            return _choice(*parts)
        case _:
            return expression


def learn(expression: Expression, value: bool, facts: dict[Expression, Boolean]) -> None:
    """Note in ``facts`` what follows from a simplified expression being true or false."""
    facts[expression] = Boolean(value)
    match expression:
        case Unary(Operator.NOT, operand):
            learn(operand, not value, facts)
        case Binary(Operator.AND, left, right) if value:
            learn(left, True, facts)
            learn(right, True, facts)
        case Binary(Operator.OR, left, right) if not value:
            learn(left, False, facts)
            learn(right, False, facts)
        case Binary(Operator.IMPLIES, left, right) if not value:
            learn(left, True, facts)
            learn(right, False, facts)


def after_tick(expression: Expression) -> Expression:
    """Return a formula over one moment as a formula over the moment after a tick."""

    def leaf(part: Reference | InState) -> Expression:
        return replace(part, after=True)

    return rewritten(expression, leaf)


def denied(expression: Expression) -> Expression:
    """Return the simplified negation of a boolean value."""
    match expression:
        case Boolean(value):
            return Boolean(not value)
        case Unary(Operator.NOT, operand):
            return operand
        case _:
            return Unary(Operator.NOT, expression)


def _unary(operator: Operator, operand: Expression) -> Expression:
    if operator is Operator.NOT:
        return denied(operand)
    return Integer(-operand.value) if isinstance(operand, Integer) else Unary(operator, operand)


def _binary(operator: Operator, left: Expression, right: Expression) -> Expression:
    if isinstance(left, Integer) and isinstance(right, Integer):
        value = evaluate(Binary(operator, left, right), {})
        return Boolean(bool(value)) if operator in COMPARISONS else Integer(value)
    if operator in CONNECTIVES:
        return _connective(operator, left, right)
    if left == right and operator in COMPARISONS:
        return Boolean(operator in _REFLEXIVE)
    if left == right and operator in _IDEMPOTENT:
        return left
    if operator in (Operator.EQUAL, Operator.NOT_EQUAL):
        return _equality(operator, left, right)
    return Binary(operator, left, right)


def _connective(operator: Operator, left: Expression, right: Expression) -> Expression:
    if operator is Operator.IMPLIES:
        if left in (FALSE, right) or right == TRUE:
            return TRUE
        if left == TRUE:
            return right
        return denied(left) if right == FALSE else Binary(operator, left, right)
    neutral, absorbing = (TRUE, FALSE) if operator is Operator.AND else (FALSE, TRUE)
    if absorbing in (left, right) or left == denied(right):
        return absorbing
    if left in (neutral, right):
        return right
    return left if right == neutral else Binary(operator, left, right)


def _equality(operator: Operator, left: Expression, right: Expression) -> Expression:
    """Fold comparisons of a boolean value with ``true`` or ``false``."""
    for known, other in ((left, right), (right, left)):
        if isinstance(known, Boolean):
            return other if known.value == (operator is Operator.EQUAL) else denied(other)
    return Binary(operator, left, right)


def _choice(condition: Expression, consequence: Expression, alternative: Expression) -> Expression:
    if isinstance(condition, Boolean):
        return consequence if condition.value else alternative
    if consequence == alternative:
        return consequence
    if consequence == TRUE and alternative == FALSE:
        return condition
    if consequence == FALSE and alternative == TRUE:
        return denied(condition)
    return Choice(condition, consequence, alternative)
