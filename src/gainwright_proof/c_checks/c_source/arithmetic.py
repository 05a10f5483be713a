"""Ranges of C operators."""

from __future__ import annotations

from gainwright.language.expression import Operator
from gainwright.language.intervals import compared, computed
from gainwright_proof.c_checks.c_source.memory import Number
from gainwright_proof.c_checks.c_source.types import Interval, IntType

_COMPUTED = {"+": Operator.ADD, "-": Operator.SUBTRACT, "*": Operator.MULTIPLY}
_COMPARED = {
    "<": Operator.LESS,
    "<=": Operator.LESS_EQUAL,
    ">": Operator.GREATER,
    ">=": Operator.GREATER_EQUAL,
    "==": Operator.EQUAL,
    "!=": Operator.NOT_EQUAL,
}
MIRRORED = {"<": ">", "<=": ">=", ">": "<", ">=": "<=", "==": "==", "!=": "!="}
OPPOSITE = {"<": ">=", "<=": ">", ">": "<=", ">=": "<", "==": "!=", "!=": "=="}


def arithmetic_range(operator: str, left: Number, right: Number) -> Interval:
    """Return the range of ``+``, ``-`` or ``*`` before anything wraps."""
    if operator == "*" and left.path is not None and left.path == right.path:
        return _square(left.range)
    return computed(_COMPUTED[operator], left.range, right.range)


def _square(value: Interval) -> Interval:
    squares = (value[0] ** 2, value[1] ** 2)
    return (0 if value[0] <= 0 <= value[1] else min(squares)), max(squares)


def comparison_range(operator: str, left: Interval, right: Interval) -> Interval:
    """Return (always true, sometimes true)."""
    return compared(_COMPARED[operator], left, right)


def shift_range(operator: str, value: Interval, count: Interval) -> Interval:
    """Return the range of ``<<`` or ``>>`` for counts of 0 or more, before anything wraps."""
    ends = [
        (end << shift) if operator == "<<" else (end >> shift) for end in value for shift in count
    ]
    return min(ends), max(ends)


def bitwise_range(operator: str, left: Interval, right: Interval, kind: IntType) -> Interval:
    """Return a range of ``&``, ``|`` or ``^``."""
    if operator == "&" and (left[0] >= 0 or right[0] >= 0):
        return 0, min(side[1] for side in (left, right) if side[0] >= 0)
    if left[0] >= 0 and right[0] >= 0:
        return 0, (1 << max(left[1].bit_length(), right[1].bit_length())) - 1
    return kind.range


def narrowed(operator: str, value: Interval, other: Interval) -> Interval | None:
    """Return what is left of ``value`` where ``value operator other`` holds; None: nothing."""
    low, high = value
    match operator:
        case "<":
            high = min(high, other[1] - 1)
        case "<=":
            high = min(high, other[1])
        case ">":
            low = max(low, other[0] + 1)
        case ">=":
            low = max(low, other[0])
        case "==":
            low, high = max(low, other[0]), min(high, other[1])
        case "!=" if other[0] == other[1]:
            low, high = low + (low == other[0]), high - (high == other[0])
    return (low, high) if low <= high else None


def wrapped(value: Interval, kind: IntType) -> Interval:
    """Return the range after conversion modulo 2^bits (ISO/IEC 9899:1999, 6.3.1.3p2)."""
    if kind.holds(value):
        return value
    modulus = 1 << kind.bits
    if kind.signed or value[0] // modulus != value[1] // modulus:
        return kind.range
    return value[0] % modulus, value[1] % modulus
