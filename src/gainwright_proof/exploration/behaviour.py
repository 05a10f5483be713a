"""Tells input vectors apart by what they make a state do, whatever the variables are.

With the values of the inputs put in, the questions of a state (:mod:`questions`) become expressions
over variables. Of a row that cannot hold, nothing else is asked. Two vectors that leave the same
expressions make the same rows hold, take the same row, give the same new values and decide the same
about every requirement, for all values of the variables. What is known of these (:mod:`situations`)
can be put in too.

Thousands of vectors leave few different expressions. So each question is simplified
from its parts upwards, for all vectors together: each expression so left gets a number, and an
operator is looked at once for each combination of numbers that its operands have. What a situation
adds is put into the numbered expressions. What reads some groups of inputs only is the same for all
choices of the others: numbers have an axis for each group, of length 1 where it is not read.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import reduce
from operator import or_

import numpy as np
from numpy.typing import NDArray

from gainwright.language.expression import (
    Boolean,
    Expression,
    Integer,
    Reference,
    children,
    references,
)
from gainwright.language.model import Kind, Trial
from gainwright_proof.exploration.questions import RowQuestions
from gainwright_proof.exploration.rewrite import recombined, rewritten
from gainwright_proof.exploration.situations import Situations

_Vector = tuple[int, ...]
_Numbers = NDArray[np.int64]
Group = tuple[Sequence[str], Sequence[_Vector]]
"""Names of inputs, and the values to try of them together."""


@dataclass(frozen=True, slots=True)
class _Left:
    """What is left of the questions of a row that can hold, as numbers of expressions."""

    literals: tuple[tuple[int, bool], ...]
    others: tuple[int, ...]

    @property
    def numbers(self) -> tuple[int, ...]:
        return (*(number for number, _ in self.literals), *self.others)


class Behaviour:
    """Compares input vectors in one state of a trial."""

    def __init__(self, trial: Trial, rows: Sequence[RowQuestions], groups: Sequence[Group]) -> None:
        """Compared are all combinations of the groups' choices, the last changing fastest."""
        self._inputs = trial.index.inputs
        self._signals = trial.inputs
        self._shape = tuple(len(choices) for _, choices in groups)
        self._count = math.prod(self._shape)
        self._columns = self._values(groups)
        self._vectors = self._combined()
        self._expressions: list[Expression] = []
        self._numbers: dict[Expression, int] = {}
        self._false, self._true = (self._number(Boolean(value)) for value in (False, True))
        self._of_question: dict[Expression, _Numbers] = {}
        self._rows = [self._of_row(row) for row in rows]
        self._distinct = firsts_of_each([numbers for numbers, _ in self._rows], self._count)

    def _values(self, groups: Sequence[Group]) -> list[_Numbers]:
        """Return the values of each input; those of inputs in no group are lowest."""
        none = (1,) * len(groups)
        columns = [np.full(none, signal.low, dtype=np.int64) for signal in self._signals]
        for axis, (names, choices) in enumerate(groups):
            table = np.array(choices, dtype=np.int64).reshape(len(choices), len(names))
            shape = tuple(len(choices) if each == axis else 1 for each, _ in enumerate(groups))
            for place, name in enumerate(names):
                columns[self._inputs[name]] = table[:, place].reshape(shape)
        return columns

    def _combined(self) -> list[_Vector]:
        flat = [self._flat(column).tolist() for column in self._columns]
        return list(zip(*flat, strict=True)) if flat else [()] * self._count

    def _flat(self, numbers: _Numbers) -> _Numbers:
        return np.broadcast_to(numbers, self._shape).reshape(-1)

    def distinct_first(self) -> tuple[list[_Vector], list[_Vector]]:
        """Return the first vector of each behaviour, and all others."""
        distinct = set(self._distinct)
        others = [v for number, v in enumerate(self._vectors) if number not in distinct]
        return [self._vectors[number] for number in self._distinct], others

    def enough(self, situations: Situations) -> tuple[tuple[int, ...], ...]:
        """Return, for each situation, the first vector of each behaviour that is left there.

        Vectors are numbered as the first list of :meth:`distinct_first` has them.
        """
        within = _Within(self._expressions, self._number, situations)
        rows = [
            _RowThere(numbers[self._distinct], lefts, within, self._left)
            for numbers, lefts in self._rows
        ]
        return tuple(
            tuple(firsts_of_each([row.numbers(s) for row in rows], len(self._distinct)))
            for s in range(situations.count)
        )

    def _of_row(self, row: RowQuestions) -> tuple[_Numbers, list[_Left | None]]:
        """Return what vectors can leave of a row, and which of these each vector leaves."""
        questions = [condition for condition, _ in row.literals]
        questions += [*row.assigned.values(), *row.judged]
        answers, which = self._different([self._left_by_vector(q) for q in questions])
        count = len(row.literals)
        values = [value for _, value in row.literals]
        seen: dict[_Left | None, int] = {}
        numbers = [
            seen.setdefault(
                self._left(list(zip(answer[:count], values, strict=True)), answer[count:]),
                len(seen),
            )
            for answer in answers
        ]
        return self._flat(np.array(numbers, dtype=np.int64)[which]), list(seen)

    def _left(self, literals: Iterable[tuple[int, bool]], others: Iterable[int]) -> _Left | None:
        """Return what is left of a row; None if it cannot hold."""
        open_literals = []
        for number, value in literals:
            if number == (self._false if value else self._true):
                return None
            if number != (self._true if value else self._false):
                open_literals.append((number, value))
        return _Left(tuple(open_literals), tuple(others))

    def _left_by_vector(self, question: Expression) -> _Numbers:
        """Return the number of the expression that each vector leaves of a question."""
        if question not in self._of_question:
            self._of_question[question] = self._substituted(question)
        return self._of_question[question]

    def _substituted(self, question: Expression) -> _Numbers:
        if isinstance(question, Reference) and question.name in self._inputs:
            return self._input(self._inputs[question.name])
        if not references(question) & self._inputs.keys():
            number = self._number(rewritten(question, lambda part: part))
            return np.full((1,) * len(self._shape), number)
        parts = [self._left_by_vector(part) for part in children(question)]
        combinations, which = self._different(parts)
        left = [
            self._number(recombined(question, [self._expressions[n] for n in numbers]))
            for numbers in combinations
        ]
        return np.array(left, dtype=np.int64)[which]

    def _input(self, number: int) -> _Numbers:
        boolean = self._signals[number].kind is Kind.BOOLEAN
        column = self._columns[number]
        values, which = np.unique(column, return_inverse=True)
        left = [
            self._number(Boolean(bool(value)) if boolean else Integer(value))
            for value in values.tolist()
        ]
        return np.array(left, dtype=np.int64)[which.reshape(column.shape)]

    def _different(self, columns: Sequence[_Numbers]) -> tuple[list[list[int]], _Numbers]:
        """Return the different combinations of numbers, and which of them each vector has."""
        shape = np.broadcast_shapes((1,) * len(self._shape), *(c.shape for c in columns))
        flat = [np.broadcast_to(column, shape).reshape(-1) for column in columns]
        firsts, which = _compared(flat, math.prod(shape))
        return [[int(column[first]) for column in flat] for first in firsts], which.reshape(shape)

    def _number(self, expression: Expression) -> int:
        number = self._numbers.setdefault(expression, len(self._expressions))
        if number == len(self._expressions):
            self._expressions.append(expression)
        return number


class _RowThere:
    """Tells apart what vectors leave of a row in situations."""

    def __init__(
        self,
        numbers: _Numbers,
        lefts: Sequence[_Left | None],
        within: _Within,
        joined: Callable[[Iterable[tuple[int, bool]], Iterable[int]], _Left | None],
    ) -> None:
        self._numbers, self._lefts, self._within, self._joined = numbers, lefts, within, joined
        self._read = dict.fromkeys(n for left in lefts if left is not None for n in left.numbers)
        self._matter = reduce(or_, map(within.features_that_matter, self._read), 0)
        self._known: dict[int, _Numbers] = {}

    def numbers(self, situation: int) -> _Numbers:
        """Return a number for each vector; the same where the same is left."""
        key = situation & self._matter
        if key not in self._known:
            self._known[key] = self._there(situation)
        return self._known[key]

    def _there(self, situation: int) -> _Numbers:
        of = {number: self._within.left(number, situation) for number in self._read}
        seen: dict[_Left | None, int] = {}
        there = []
        for left in self._lefts:
            if left is not None:
                literals = [(of[number], value) for number, value in left.literals]
                left = self._joined(literals, [of[number] for number in left.others])
            there.append(seen.setdefault(left, len(seen)))
        return np.array(there, dtype=np.int64)[self._numbers]


class _Within:
    """Puts what is known in situations into numbered expressions."""

    def __init__(
        self,
        expressions: Sequence[Expression],
        number: Callable[[Expression], int],
        situations: Situations,
    ) -> None:
        self._expressions = expressions
        self._number = number
        self._facts = [situations.facts(situation) for situation in range(situations.count)]
        self._names = [references(feature) for feature in situations.features]
        self._matters: dict[int, int] = {}
        self._left: dict[tuple[int, int], int] = {}

    def left(self, number: int, situation: int) -> int:
        """Return the number of what a situation leaves of an expression."""
        key = (number, situation & self.features_that_matter(number))
        if key not in self._left:
            self._left[key] = self._number(
                rewritten(self._expressions[number], lambda part: part, self._facts[situation])
            )
        return self._left[key]

    def features_that_matter(self, number: int) -> int:
        """Return a bit for each feature that shares a name with an expression; the boolean values
        of the others, and of their parts, say nothing about it."""
        if number not in self._matters:
            names = references(self._expressions[number])
            bits = (1 << bit for bit, own in enumerate(self._names) if own & names)
            self._matters[number] = sum(bits)
        return self._matters[number]


def firsts_of_each(columns: Sequence[_Numbers], count: int) -> list[int]:
    """Return the places of the first of each different row of a table given by columns."""
    return sorted(_compared(columns, count)[0].tolist())


def _compared(columns: Sequence[_Numbers], count: int) -> tuple[_Numbers, _Numbers]:
    """Return the place of the first of each different row, and which of these each row is.

    All ``count`` rows are alike where there is no column. Entries are small, and not negative.
    """
    firsts, which = np.zeros(min(count, 1), np.int64), np.zeros(count, np.int64)
    for column in columns:
        values = int(column.max(initial=0)) + 1
        codes = which * values + column
        if len(firsts) * values > _MOST_PLACES:
            _, firsts, which = np.unique(codes, return_index=True, return_inverse=True)
        else:
            firsts, which = _firsts_by_table(codes, len(firsts) * values)
    return firsts, which


_MOST_PLACES = 1 << 22
"""A table of more places takes longer than to sort."""


def _firsts_by_table(codes: _Numbers, places: int) -> tuple[_Numbers, _Numbers]:
    """Return the first place of each different code, and which of these each has; unsorted."""
    numbers = np.arange(len(codes))
    table = np.zeros(places, dtype=np.int64)
    # Of equal codes the first is written last.
    table[codes[::-1]] = numbers[::-1]
    first = table[codes]
    is_first = first == numbers
    return np.flatnonzero(is_first), (np.cumsum(is_first) - 1)[first]
