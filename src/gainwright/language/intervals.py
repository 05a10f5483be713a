"""Interval arithmetic of the language's operators; an interval is (low, high), both included."""

from __future__ import annotations

from gainwright.language.expression import Operator
from gainwright.language.functions import FUNCTIONS

Interval = tuple[int, int]


def computed(operator: Operator, left: Interval, right: Interval) -> Interval:
    """Return the exact range of an arithmetic operator, shift or function.

    The right operand of a shift is a literal, so its interval is a single value.
    """
    (a, b), (c, d) = left, right
    match operator:
        case Operator.ADD:
            return a + c, b + d
        case Operator.SUBTRACT:
            return a - d, b - c
        case Operator.MULTIPLY:
            products = (a * c, a * d, b * c, b * d)
            return min(products), max(products)
        case Operator.SHIFT_LEFT:
            return a << c, b << c
        case Operator.SHIFT_RIGHT:
            return a >> c, b >> c
    if operator in FUNCTIONS:
        return FUNCTIONS[operator].interval(left, right)
    raise ValueError(f"{operator} computes no integer")


def compared(operator: Operator, left: Interval, right: Interval) -> Interval:
    """Return (always true, sometimes true) of a comparison of two independent values."""
    (a, b), (c, d) = left, right
    match operator:
        case Operator.LESS:
            return int(b < c), int(a < d)
        case Operator.LESS_EQUAL:
            return int(b <= c), int(a <= d)
        case Operator.GREATER:
            return int(a > d), int(b > c)
        case Operator.GREATER_EQUAL:
            return int(a >= d), int(b >= c)
        case Operator.EQUAL:
            return int(a == b == c == d), int(a <= d and c <= b)
        case Operator.NOT_EQUAL:
            return int(b < c or d < a), int(not a == b == c == d)
    raise ValueError(f"{operator} is no comparison")


def connected(operator: Operator, left: Interval, right: Interval) -> Interval:
    """Return (always true, sometimes true) of ``and``, ``or`` or ``implies``."""
    (a, b), (c, d) = left, right
    match operator:
        case Operator.AND:
            return a & c, b & d
        case Operator.OR:
            return a | c, b | d
        case Operator.IMPLIES:
            return (1 - b) | c, (1 - a) | d
    raise ValueError(f"{operator} is no connective")
