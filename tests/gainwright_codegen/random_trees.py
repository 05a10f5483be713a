"""Hypothesis strategies for well-typed expressions of which every intermediate value fits."""

from __future__ import annotations

from collections.abc import Mapping

from hypothesis import strategies as st

from gainwright.spec.expression import (
    ARITHMETIC,
    COMPARISONS,
    CONNECTIVES,
    SELECTIONS,
    SHIFTS,
    Binary,
    Choice,
    Expression,
    Integer,
    Operator,
    Reference,
    Truth,
    Unary,
)
from gainwright.spec.intervals import computed
from gainwright.spec.model import Kind, Signal

INT32_LOW, INT32_HIGH = -(2**31), 2**31 - 1
EDGES = [INT32_LOW, INT32_LOW + 1, -65536, -32768, -2, -1, 0, 1, 2, 255, 32767, 65535, INT32_HIGH]

Bounded = tuple[Expression, tuple[int, int]]

integers_32 = st.one_of(
    st.sampled_from(EDGES), st.integers(-50, 50), st.integers(INT32_LOW, INT32_HIGH)
)
_BY_NAME = {operator.name: operator for operator in Operator}


def _operators(*groups: frozenset[Operator]) -> st.SearchStrategy[Operator]:
    names = sorted(operator.name for group in groups for operator in group)
    return st.sampled_from(names).map(_BY_NAME.__getitem__)


def signals_of(kind: Kind, signals: Mapping[str, Signal]) -> list[Signal]:
    return [signal for signal in signals.values() if signal.kind is kind]


def integer_trees(signals: Mapping[str, Signal], depth: int) -> st.SearchStrategy[Expression]:
    """Expressions of integer type over the given signals."""
    return _integers(signals, depth).map(lambda bounded: bounded[0])


def _integers(signals: Mapping[str, Signal], depth: int) -> st.SearchStrategy[Bounded]:
    leaves = [integers_32.map(lambda value: (Integer(value), (value, value)))]
    if named := signals_of(Kind.INTEGER, signals):
        leaves.append(st.sampled_from(named).map(lambda s: (Reference(s.name), (s.low, s.high))))
    leaf = st.one_of(leaves)
    if depth == 0:
        return leaf
    part = _integers(signals, depth - 1)
    return st.one_of(
        leaf,
        st.tuples(_operators(ARITHMETIC, SELECTIONS), part, part).map(_binary),
        st.tuples(_operators(SHIFTS), part, st.integers(0, 31)).map(_shift),
        part.map(_negated),
        st.tuples(truth_trees(signals, depth - 1), part, part).map(_choice),
    )


def truth_trees(signals: Mapping[str, Signal], depth: int) -> st.SearchStrategy[Expression]:
    """Expressions of truth type over the given signals."""
    leaves: list[st.SearchStrategy[Expression]] = [st.booleans().map(Truth)]
    if named := signals_of(Kind.TRUTH, signals):
        leaves.append(st.sampled_from(named).map(lambda signal: Reference(signal.name)))
    if depth == 0:
        return st.one_of(leaves)
    part, number = truth_trees(signals, depth - 1), integer_trees(signals, depth - 1)
    equalities = _operators(frozenset({Operator.EQUAL, Operator.NOT_EQUAL}))
    return st.one_of(
        *leaves,
        st.builds(Binary, _operators(COMPARISONS), number, number),
        st.builds(Binary, _operators(CONNECTIVES), part, part),
        st.builds(Binary, equalities, part, part),
        st.builds(Unary, st.just(Operator.NOT), part),
        st.builds(Choice, part, part, part),
    )


def _fits(interval: tuple[int, int]) -> bool:
    return interval[0] >= INT32_LOW and interval[1] <= INT32_HIGH


def _binary(parts: tuple[Operator, Bounded, Bounded]) -> Bounded:
    operator, (left, a), (right, b) = parts
    interval = computed(operator, a, b)
    if _fits(interval):
        return Binary(operator, left, right), interval
    # Too wide: do the same with operands limited to 15 bits.
    return _binary((operator, _limited(left, a), _limited(right, b)))


def _limited(operand: Expression, interval: tuple[int, int]) -> Bounded:
    low, high = (min(max(bound, -30000), 30000) for bound in interval)
    inner = Binary(Operator.MAXIMUM, operand, Integer(-30000))
    return Binary(Operator.MINIMUM, inner, Integer(30000)), (low, high)


def _shift(parts: tuple[Operator, Bounded, int]) -> Bounded:
    operator, (operand, interval), bits = parts
    shifted = computed(operator, interval, (bits, bits))
    if not _fits(shifted):
        operator, shifted = Operator.SHIFT_RIGHT, (interval[0] >> bits, interval[1] >> bits)
    return Binary(operator, operand, Integer(bits)), shifted


def _negated(part: Bounded) -> Bounded:
    operand, (low, high) = part
    if low == INT32_LOW:
        return operand, (low, high)
    return Unary(Operator.NEGATE, operand), (-high, -low)


def _choice(parts: tuple[Expression, Bounded, Bounded]) -> Bounded:
    condition, (first, a), (second, b) = parts
    return Choice(condition, first, second), (min(a[0], b[0]), max(a[1], b[1]))


def values_of(signal: Signal) -> st.SearchStrategy[int]:
    """Values of a signal, its ends more often than chance."""
    edges = sorted({signal.low, signal.high} | {e for e in EDGES if signal.low <= e <= signal.high})
    return st.one_of(st.sampled_from(edges), st.integers(signal.low, signal.high))
