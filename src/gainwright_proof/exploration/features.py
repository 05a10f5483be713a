"""What a tick can notice of its inputs: the features of a set of expressions.

A feature is an expression over inputs only. Together the features of an expression determine it for
all values of the variables: the expression can be written as a function of variables and features.
So two input vectors with the same feature values cannot be told apart, whatever the variables are.

- An operand that reads inputs only, as large as possible, is a feature: ``a or b``, ``2 * x > y``.
  Operands of one chain of ``and`` or ``or`` are joined for that.
- Of ``x < e``, where ``x`` reads inputs only and the integer ``e`` variables only, nothing matters
  but the order of ``x`` among the integers that ``e`` can be. With ``e`` in [low, high] the feature
  is ``x`` limited to [low - 1, high + 1].
- The same for ``variable := x``, with the range at which the assignment saturates.
- ``(if c then x else y) < e`` is ``if c then x < e else y < e``, and has the features of these.
- Anything else that mixes both has the value of its inputs as feature.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import reduce

from gainwright.language.expression import (
    COMPARISONS,
    Binary,
    Boolean,
    Choice,
    Expression,
    Integer,
    Operator,
    Unary,
    children,
    references,
)
from gainwright.language.model import Kind, Signal, Trial, Variable
from gainwright.language.typing import infer
from gainwright_proof.exploration.rewrite import tick_scope

_CHAINS = (Operator.AND, Operator.OR)


class FeatureFinder:
    """Finds the features of expressions of one trial, after conditions and outputs are expanded.

    With ``own`` other signals than the inputs, it finds what the tick can notice of those.
    """

    def __init__(self, trial: Trial, own: Iterable[Signal] | None = None) -> None:
        signals = trial.inputs if own is None else own
        self._own = frozenset(signal.name for signal in signals)
        self._scope = tick_scope(trial)

    def of_formula(self, expression: Expression) -> list[Expression]:
        """Return the features of an expression of any kind, none twice."""
        return list(dict.fromkeys(self._features(expression)))

    def of_assignment(self, variable: Variable, value: Expression) -> list[Expression]:
        """Return the features of the value that a variable gets."""
        if self._reads_own_only(value) and variable.kind is Kind.INTEGER:
            return [_limited(value, variable.low, variable.high)]
        return self.of_formula(value)

    def is_boolean(self, feature: Expression) -> bool:
        """Return whether a feature is a boolean value."""
        bounds, _ = infer(feature, self._scope)
        return bounds is not None and bounds.kind is Kind.BOOLEAN

    def _reads_own_only(self, expression: Expression) -> bool:
        names = references(expression)
        return bool(names) and names <= self._own

    def _features(self, expression: Expression) -> Iterable[Expression]:
        if not references(expression) & self._own:
            return
        if self._reads_own_only(expression):
            yield expression
        elif isinstance(expression, Binary) and expression.operator in COMPARISONS:
            yield from self._of_comparison(expression)
        elif isinstance(expression, Binary) and expression.operator in _CHAINS:
            yield from self._of_chain(expression)
        else:
            for part in children(expression):
                yield from self._features(part)

    def _of_chain(self, expression: Binary) -> Iterable[Expression]:
        for part in _joined(expression, self._reads_own_only):
            if self._reads_own_only(part):
                yield part
            else:
                yield from self._features(part)

    def _of_comparison(self, comparison: Binary) -> Iterable[Expression]:
        sides = (comparison.left, comparison.right)
        for side, other in (sides, sides[::-1]):
            if self._reads_own_only(side) and not references(other) & self._own:
                bounds, _ = infer(other, self._scope)
                if bounds is not None and bounds.kind is Kind.INTEGER:
                    yield _limited(side, bounds.low, bounds.high)
                    return
        choice = _choice_of(comparison)
        for part in sides if choice is None else _of_each_case(comparison, choice):
            yield from self._features(part)


def _of_each_case(comparison: Binary, choice: Choice) -> Iterable[Expression]:
    """Yield what a comparison of a choice is made of: its condition, and a comparison a case."""
    yield choice.condition
    for case in (choice.consequence, choice.alternative):
        if comparison.left is choice:
            yield replace(comparison, left=case)
        else:
            yield replace(comparison, right=case)


def chain(expression: Expression, operator: Operator) -> Iterable[Expression]:
    """Yield the operands of a chain of one associative operator, left to right."""
    if isinstance(expression, Binary) and expression.operator is operator:
        yield from chain(expression.left, operator)
        yield from chain(expression.right, operator)
    else:
        yield expression


def parts_within(expression: Expression, names: frozenset[str]) -> Iterable[Expression]:
    """Yield the largest parts of a feature that read some inputs and no others.

    Whatever the others are, the feature is a function of these parts of its inputs.
    """
    read = references(expression)
    if not read & names:
        return
    if read <= names:
        yield expression
        return
    for part in _taken_apart(expression, names):
        yield from parts_within(part, names)


def _taken_apart(expression: Expression, names: frozenset[str]) -> Iterable[Expression]:
    if isinstance(expression, Binary) and expression.operator in _CHAINS:
        return _joined(expression, lambda part: references(part) <= names)
    if isinstance(expression, Binary) and expression.operator in COMPARISONS:
        choice = _choice_of(expression)
        return children(expression) if choice is None else _of_each_case(expression, choice)
    return children(expression)


def _joined(expression: Binary, alike: Callable[[Expression], bool]) -> list[Expression]:
    """Return the operands of a chain, of which those that are alike are joined to one."""
    operands = list(chain(expression, expression.operator))
    alone = [part for part in operands if alike(part)]
    joined = [reduce(lambda a, b: Binary(expression.operator, a, b), alone)] if alone else []
    return joined + [part for part in operands if not alike(part)]


def _choice_of(comparison: Binary) -> Choice | None:
    sides = (comparison.left, comparison.right)
    return next((side for side in sides if isinstance(side, Choice)), None)


def thresholds(expression: Expression) -> list[int] | None:
    """Return the values of the one input that a feature reads at which it can change.

    Between two neighbours of these values, each included as the first of its stretch, the feature
    does not change. None if it is not made of comparisons of the input with constants.
    """
    match expression:
        case Binary(operator, left, right) if operator in COMPARISONS:
            literals = [side.value for side in (left, right) if isinstance(side, Integer)]
            plain = all(isinstance(side, Integer) or not children(side) for side in (left, right))
            return [literals[0], literals[0] + 1] if len(literals) == 1 and plain else None
        case Unary(Operator.NOT, operand):
            return thresholds(operand)
        case Boolean():
            return []
        case Binary(_, left, right) | Choice(_, left, right):
            parts = [thresholds(part) for part in children(expression)]
            return None if None in parts else [value for part in parts for value in part or []]
    return None


def _limited(value: Expression, low: int, high: int) -> Expression:
    return Binary(
        Operator.MAXIMUM, Binary(Operator.MINIMUM, value, Integer(high + 1)), Integer(low - 1)
    )
