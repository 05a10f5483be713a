"""A condition as a decision over its parts, true or false each, from left to right."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from gainwright.language.expression import Binary, Expression, Operator, Reference, Unary
from gainwright.language.model import Trial
from gainwright.semantics.python_code import CodeWriter

_JOINS = (Operator.AND, Operator.OR)


@dataclass(frozen=True, slots=True)
class Decision:
    """An expression and its parts, true or false each."""

    expression: Expression
    """Others may stand in it in full."""
    parts: tuple[Expression, ...]
    seen: dict[tuple[bool, ...], tuple[int, ...]] = field(default_factory=dict)
    distances: dict[tuple[tuple[bool, ...], int], int] = field(default_factory=dict)

    def deciding(self, values: tuple[bool, ...]) -> tuple[int, ...]:
        """Return the parts whose change alone would change the condition."""
        if values not in self.seen:
            self.seen[values] = tuple(self._found(values))
        return self.seen[values]

    def distance(self, values: tuple[bool, ...], part: int) -> int:
        """Return how many parts must change until one of them decides."""
        if (values, part) not in self.distances:
            pairs = iter([(k == part, value) for k, value in enumerate(values)])
            self.distances[values, part] = _distance(self.expression, pairs).to_decided or 0
        return self.distances[values, part]

    def _found(self, values: tuple[bool, ...]) -> Iterator[int]:
        result = _joined(self.expression, iter(values))
        for number, value in enumerate(values):
            changed = (*values[:number], not value, *values[number + 1 :])
            if _joined(self.expression, iter(changed)) != result:
                yield number


def in_full(trial: Trial) -> dict[str, Expression]:
    """Return the expression of each condition with those of others in place of their names."""
    full = dict[str, Expression]()
    for condition in trial.conditions:
        full[condition.name] = _with_others(condition.expression, full)
    return full


def _with_others(expression: Expression, full: Mapping[str, Expression]) -> Expression:
    match expression:
        case Reference(name, False) if name in full:
            return full[name]
        case Unary(operator, operand):
            return Unary(operator, _with_others(operand, full))
        case Binary(operator, left, right) if operator in _JOINS:
            return Binary(operator, _with_others(left, full), _with_others(right, full))
    return expression


def parts_of(expression: Expression) -> tuple[Expression, ...]:
    """Return the parts from left to right. One that stands in two places is two parts: each place
    must be seen to decide."""
    match expression:
        case Unary(Operator.NOT, operand):
            return parts_of(operand)
        case Binary(operator, left, right) if operator in _JOINS:
            return (*parts_of(left), *parts_of(right))
    return (expression,)


def _joined(expression: Expression, values: Iterator[bool]) -> bool:
    """Return what the parts' values, from left to right, make of an expression."""
    match expression:
        case Unary(Operator.NOT, operand):
            return not _joined(operand, values)
        case Binary(operator, left, right) if operator in _JOINS:
            both = _joined(left, values), _joined(right, values)
            return all(both) if operator is Operator.AND else any(both)
    return next(values)


def writer(trial: Trial) -> CodeWriter:
    """Return what makes functions of expressions over the variables and inputs of a trial."""
    booleans = frozenset(s.name for s in (*trial.variables, *trial.inputs) if s.high == 1)
    states = [state.name for state in trial.states]
    return CodeWriter(states, trial.conditions, boolean_names=booleans)


class _Distance(NamedTuple):
    """How many parts must change, at least, until an expression is true, is false, or is decided by
    one part of it; None if that part is not in it."""

    to_true: int
    to_false: int
    to_decided: int | None


def _distance(expression: Expression, values: Iterator[tuple[bool, bool]]) -> _Distance:
    match expression:
        case Unary(Operator.NOT, operand):
            return _opposite(_distance(operand, values))
        case Binary(Operator.AND, left, right):
            return _both(_distance(left, values), _distance(right, values))
        case Binary(Operator.OR, left, right):
            sides = _distance(left, values), _distance(right, values)
            return _opposite(_both(*map(_opposite, sides)))
    wanted, value = next(values)
    return _Distance(int(not value), int(value), 0 if wanted else None)


def _opposite(of: _Distance) -> _Distance:
    return _Distance(of.to_false, of.to_true, of.to_decided)


def _both(left: _Distance, right: _Distance) -> _Distance:
    decided = [
        one.to_decided + other.to_true
        for one, other in ((left, right), (right, left))
        if one.to_decided is not None
    ]
    return _Distance(
        left.to_true + right.to_true, min(left.to_false, right.to_false), min(decided, default=None)
    )
