"""Random well-typed expressions of which every intermediate value fits 32 bits.

Made by a plain generator from a drawn seed: hypothesis, drawing node by node, hardly gets beyond
chains of signs.
"""

from __future__ import annotations

import random
from collections.abc import Mapping

from hypothesis import strategies as st

from gainwright.language.expression import (
    ARITHMETIC,
    COMPARISONS,
    CONNECTIVES,
    SELECTIONS,
    SHIFTS,
    Binary,
    Boolean,
    Choice,
    Expression,
    Integer,
    Operator,
    Reference,
    Unary,
)
from gainwright.language.intervals import computed
from gainwright.language.model import Kind, Signal

INT32_LOW, INT32_HIGH = -(2**31), 2**31 - 1
EDGES = [INT32_LOW, INT32_LOW + 1, -65536, -32768, -2, -1, 0, 1, 2, 255, 32767, 65535, INT32_HIGH]
_LIMIT = 30000

Bounded = tuple[Expression, tuple[int, int]]

_seeds = st.integers(0, 2**32 - 1)


def integer_trees(signals: Mapping[str, Signal], depth: int) -> st.SearchStrategy[Expression]:
    """Expressions of integer type over the given signals."""
    return _seeds.map(lambda seed: _Generator(signals, seed).integer(depth)[0])


def boolean_trees(signals: Mapping[str, Signal], depth: int) -> st.SearchStrategy[Expression]:
    """Expressions of boolean type over the given signals."""
    return _seeds.map(lambda seed: _Generator(signals, seed).boolean(depth))


def values_of(signal: Signal) -> st.SearchStrategy[int]:
    """Values of a signal, its ends more often than chance."""
    edges = sorted({signal.low, signal.high} | {e for e in EDGES if signal.low <= e <= signal.high})
    return st.one_of(st.sampled_from(edges), st.integers(signal.low, signal.high))


class _Generator:
    def __init__(self, signals: Mapping[str, Signal], seed: int) -> None:
        self._random = random.Random(seed)
        self._integers = [s for s in signals.values() if s.kind is Kind.INTEGER]
        self._narrow = [s for s in self._integers if s.high - s.low < 2**17]
        self._booleans = [s for s in signals.values() if s.kind is Kind.BOOLEAN]

    def _pick(self, *groups: frozenset[Operator]) -> Operator:
        operators = [operator for group in groups for operator in group]
        return self._random.choice(sorted(operators, key=lambda operator: operator.name))

    def integer(self, depth: int) -> Bounded:
        if depth == 0 or self._random.random() < 0.1:
            return self._integer_leaf()
        kind = self._random.choices(
            ("arithmetic", "selection", "shift", "sign", "choice"), (8, 2, 3, 1, 2)
        )[0]
        first = self.integer(depth - 1)
        if kind == "sign":
            return _negated(first)
        if kind == "shift":
            return _shifted(self._pick(SHIFTS), first, self._random.choice((0, 1, 2, 8, 30, 31)))
        second = self.integer(depth - 1)
        if kind == "choice":
            return _chosen(self.boolean(depth - 1), first, second)
        group = ARITHMETIC if kind == "arithmetic" else SELECTIONS
        return _combined(self._pick(group), first, second)

    def _integer_leaf(self) -> Bounded:
        signals = self._narrow if self._narrow and self._random.random() < 0.7 else self._integers
        if signals and self._random.random() < 0.6:
            signal = self._random.choice(signals)
            return Reference(signal.name), (signal.low, signal.high)
        # Mostly small numbers: sums and products of large ones do not fit.
        ranges = ((-9, 9), (-9, 9), (-300, 300), (INT32_LOW, INT32_HIGH))
        value = self._random.randint(*self._random.choice(ranges))
        if self._random.random() < 0.1:
            value = self._random.choice(EDGES)
        return Integer(value), (value, value)

    def boolean(self, depth: int) -> Expression:
        if depth == 0 or self._random.random() < 0.1:
            if self._booleans and self._random.random() < 0.8:
                return Reference(self._random.choice(self._booleans).name)
            return Boolean(self._random.random() < 0.5)
        kind = self._random.choices(
            ("comparison", "connective", "equality", "not", "choice"), (5, 6, 1, 2, 1)
        )[0]
        if kind == "comparison":
            first, second = self.integer(depth - 1), self.integer(depth - 1)
            return Binary(self._pick(COMPARISONS), first[0], second[0])
        first = self.boolean(depth - 1)
        if kind == "not":
            return Unary(Operator.NOT, first)
        second = self.boolean(depth - 1)
        if kind == "choice":
            return Choice(self.boolean(depth - 1), first, second)
        if kind == "connective":
            return Binary(self._pick(CONNECTIVES), first, second)
        return Binary(self._pick(frozenset({Operator.EQUAL, Operator.NOT_EQUAL})), first, second)


def _fits(interval: tuple[int, int]) -> bool:
    return interval[0] >= INT32_LOW and interval[1] <= INT32_HIGH


def _combined(operator: Operator, first: Bounded, second: Bounded) -> Bounded:
    interval = computed(operator, first[1], second[1])
    if _fits(interval):
        return Binary(operator, first[0], second[0]), interval
    # Too wide: do the same with the wider operand limited to 15 bits.
    if max(map(abs, first[1])) >= max(map(abs, second[1])):
        return _combined(operator, _limited(first), second)
    return _combined(operator, first, _limited(second))


def _limited(operand: Bounded) -> Bounded:
    expression, interval = operand
    low, high = (min(max(bound, -_LIMIT), _LIMIT) for bound in interval)
    inner = Binary(Operator.MAXIMUM, expression, Integer(-_LIMIT))
    return Binary(Operator.MINIMUM, inner, Integer(_LIMIT)), (low, high)


def _shifted(operator: Operator, operand: Bounded, bits: int) -> Bounded:
    expression, interval = operand
    result = computed(operator, interval, (bits, bits))
    if not _fits(result):
        operator, result = Operator.SHIFT_RIGHT, (interval[0] >> bits, interval[1] >> bits)
    return Binary(operator, expression, Integer(bits)), result


def _negated(operand: Bounded) -> Bounded:
    expression, (low, high) = operand
    if low == INT32_LOW:
        return operand
    return Unary(Operator.NEGATE, expression), (-high, -low)


def _chosen(condition: Expression, first: Bounded, second: Bounded) -> Bounded:
    interval = (min(first[1][0], second[1][0]), max(first[1][1], second[1][1]))
    return Choice(condition, first[0], second[0]), interval
