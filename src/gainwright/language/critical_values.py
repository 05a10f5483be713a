"""Which values of a signal matter: the ends of its range, and the numbers it is compared with.

For comparisons with constants, the constant and its neighbours are exact. Comparisons between names
or of sums are covered by the ends and sums of all that stands in them; there a value may be missed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from gainwright.language.expression import (
    ARITHMETIC,
    COMPARISONS,
    Binary,
    Expression,
    Integer,
    Operator,
    Unary,
    references,
    walk,
)
from gainwright.language.intervals import computed
from gainwright.language.model import Kind, Signal
from gainwright.language.scope import Bounds


def critical_values(
    name: str, expressions: Iterable[Expression], signals: Mapping[str, Bounds]
) -> tuple[int, ...]:
    """Return the values of a signal at which comparisons in ``expressions`` can change, sorted."""
    numbers: set[int] = set()
    if signals[name].kind is not Kind.BOOLEAN:
        for expression in expressions:
            for part in walk(expression):
                if (
                    isinstance(part, Binary)
                    and part.operator in COMPARISONS
                    and name in references(part)
                ):
                    numbers |= _compared(part, signals)
    return values_near(signals[name], numbers)


def values_near(signal: Signal | Bounds, numbers: Iterable[int]) -> tuple[int, ...]:
    """Return the ends of a signal's range, and the numbers inside it with their neighbours."""
    if signal.kind is Kind.BOOLEAN:
        return tuple(range(signal.low, signal.high + 1))
    near = {value + offset for value in numbers for offset in (-1, 0, 1)}
    inside = {value for value in near if signal.low <= value <= signal.high}
    return tuple(sorted(inside | {signal.low, signal.high}))


def constants(trees: Iterable[Expression]) -> list[int]:
    """Return the numbers in expressions, sorted: those written, and what they make together or with
    a sign."""
    found = {_constant(part) for tree in trees for part in walk(tree)}
    return sorted(value for value in found if value is not None)


def _constant(expression: Expression) -> int | None:
    """Return the value of a number, or of sums and products of numbers; None for all else."""
    match expression:
        case Integer(value, _):
            return value
        case Unary(Operator.NEGATE, operand):
            number = _constant(operand)
            return None if number is None else -number
        case Binary(operator, left, right) if operator in ARITHMETIC:
            first, second = _constant(left), _constant(right)
            if first is not None and second is not None:
                return computed(operator, (first, first), (second, second))[0]
    return None


def _compared(comparison: Binary, signals: Mapping[str, Bounds]) -> set[int]:
    literals = {part.value for part in walk(comparison) if isinstance(part, Integer)}
    names = references(comparison) & signals.keys()
    if len(names) < 2 and len(literals) < 2:
        return literals
    ends = {end for name in names for end in (signals[name].low, signals[name].high)}
    return (
        literals
        | ends
        | {end + sign * v for end in ends for v in literals for sign in (-1, 1)}
        | {sign * v for v in literals for sign in (-1, 1)}
        | {a + sign * b for a in literals for b in literals for sign in (-1, 1)}
    )
