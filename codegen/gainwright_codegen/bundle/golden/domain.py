"""The input values that can make a difference to a trial."""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator

from gainwright.language.expression import Binary, Expression, Integer, Operator, references, walk
from gainwright.language.model import Kind, Signal, Trial

Inputs = tuple[int, ...]
"""One value per input, in the order of the trial."""

Domain = tuple[tuple[int, ...], ...]
"""For each signal the values to try: the ends of its range, and the constants that stand in an
expression with it, with their neighbours, as far as they lie inside."""


def input_domain(trial: Trial) -> Domain:
    """Return the values to try for each input."""
    return tuple(_values(trial, signal) for signal in trial.inputs)


def variable_domain(trial: Trial) -> Domain:
    """Return the values to try for each variable."""
    return tuple(_values(trial, signal) for signal in trial.variables)


def _values(trial: Trial, signal: Signal) -> tuple[int, ...]:
    trees = [tree for tree in _trees(trial) if signal.name in references(tree)]
    return values_near(signal, constants(trees))


def constants(trees: Iterable[Expression]) -> list[int]:
    """Return the numbers in expressions, sorted: those written, and what they make together."""
    found = {_constant(part) for tree in trees for part in walk(tree)}
    return sorted(value for value in found if value is not None)


def _constant(expression: Expression) -> int | None:
    """Return the value of a number, or of sums and products of numbers; None for all else."""
    match expression:
        case Integer(value, _):
            return value
        case Binary(operator, left, right) if operator in _ARITHMETIC:
            values = _constant(left), _constant(right)
            if values[0] is not None and values[1] is not None:
                return _ARITHMETIC[operator](values[0], values[1])
    return None


_ARITHMETIC = {
    Operator.ADD: int.__add__,
    Operator.SUBTRACT: int.__sub__,
    Operator.MULTIPLY: int.__mul__,
}


def _trees(trial: Trial) -> Iterator[Expression]:
    for condition in trial.conditions:
        yield condition.expression
    for row in trial.rows:
        yield from row.actions.values()


def values_near(signal: Signal, numbers: list[int]) -> tuple[int, ...]:
    """Return the ends of a signal's range, and the numbers inside it with their neighbours."""
    if signal.kind is Kind.BOOLEAN:
        return tuple(range(signal.low, signal.high + 1))
    near = {value + offset for value in numbers for offset in (-1, 0, 1)}
    inside = {value for value in near if signal.low <= value <= signal.high}
    return tuple(sorted(inside | {signal.low, signal.high}))


def any_values(domain: Domain, source: random.Random) -> tuple[int, ...]:
    """Return one random value per signal."""
    return tuple(_pick(values, source) for values in domain)


def changed_inputs(domain: Domain, inputs: Inputs, source: random.Random) -> Inputs:
    """Return the inputs with one to three of them drawn anew."""
    changed = list(inputs)
    for _ in range(1 + int(3 * source.random())):
        if changed:
            k = int(len(changed) * source.random())
            changed[k] = _pick(domain[k], source)
    return tuple(changed)


def _pick(values: tuple[int, ...], source: random.Random) -> int:
    # Five times as fast as random.choice, and this is the innermost loop of the search.
    return values[int(len(values) * source.random())]
