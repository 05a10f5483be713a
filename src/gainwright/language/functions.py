"""Functions of two integers such as ``min(a, b)``, or with a symbol between them: one entry each.

Whoever adds one writes its member of :class:`~gainwright.language.expression.Operator` and its
entry here. The second reader, which shares nothing with this one on purpose, learns it in its
grammar and its table. Every other backend can do without: it writes the expansion.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from gainwright.language.expression import Binary, Choice, Expression, Level, Operator


@dataclass(frozen=True, slots=True)
class Function:
    """What a function of two integers means."""

    words: str
    """In a sentence; takes the two operands."""
    value: Callable[[int, int], int]
    interval: Callable[[tuple[int, int], tuple[int, int]], tuple[int, int]]
    """The range of the value from the ranges of the operands, both ends included."""
    scalar: str
    """In Python, for two numbers."""
    array: str
    """In Python, for two arrays of numpy (``np``)."""
    expansion: Callable[[Expression, Expression], Expression]
    """The same in operators that every backend has."""
    level: Level | None = None
    """``SUM`` or ``PRODUCT`` if it is written between its operands; None if it is called."""


def _chosen(operator: Operator) -> Callable[[Expression, Expression], Expression]:
    return lambda left, right: Choice(Binary(operator, left, right), left, right)


def _of_ends(value: Callable[[int, int], int]) -> Callable[..., tuple[int, int]]:
    """The range of a function that never falls when an operand rises."""
    return lambda left, right: (value(left[0], right[0]), value(left[1], right[1]))


FUNCTIONS: dict[Operator, Function] = {
    Operator.MINIMUM: Function(
        words="the smaller of {} and {}",
        value=min,
        interval=_of_ends(min),
        scalar="min({}, {})",
        array="np.minimum({}, {})",
        expansion=_chosen(Operator.LESS),
    ),
    Operator.MAXIMUM: Function(
        words="the greater of {} and {}",
        value=max,
        interval=_of_ends(max),
        scalar="max({}, {})",
        array="np.maximum({}, {})",
        expansion=_chosen(Operator.GREATER),
    ),
}


def expanded(expression: Binary) -> Expression:
    """Return what a function means, in operators that every backend has.

    Raises:
        KeyError: the operator is no function.
    """
    function = FUNCTIONS[expression.operator]
    return function.expansion(expression.left, expression.right)
