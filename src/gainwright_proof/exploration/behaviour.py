"""Tells input vectors apart by what they make a state do, whatever the variables are.

With the values of the inputs put in, the questions of a state (:mod:`questions`) become expressions
over variables. Of a row that cannot hold, nothing else is asked. Two vectors that leave the same
expressions make the same rows hold, take the same row, give the same new values and decide the same
about every requirement, for all values of the variables. What is known of these (:mod:`situations`)
can be put in too.

Thousands of vectors leave few different expressions. So each question is simplified
from its parts upwards, for all vectors together: each expression so left gets a number, and an
operator is looked at once for each combination of numbers that its operands have. What a situation
adds is put into the numbered expressions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True)
class _Left:
    """What is left of the questions of a row that can hold, as numbers of expressions."""

    literals: tuple[tuple[int, bool], ...]
    others: tuple[int, ...]


class Behaviour:
    """Compares input vectors in one state of a trial."""

    def __init__(
        self, trial: Trial, rows: Sequence[RowQuestions], vectors: Iterable[_Vector]
    ) -> None:
        self._inputs = trial.index.inputs
        self._kinds = [signal.kind for signal in trial.inputs]
        self._vectors = list(vectors)
        self._count = len(self._vectors)
        self._table = np.array(self._vectors, dtype=np.int64).reshape(self._count, -1)
        self._expressions: list[Expression] = []
        self._numbers: dict[Expression, int] = {}
        self._false, self._true = (self._number(Boolean(value)) for value in (False, True))
        self._of_question: dict[Expression, _Numbers] = {}
        self._rows = [self._of_row(row) for row in rows]
        self._distinct = firsts_of_each([numbers for numbers, _ in self._rows], self._count)

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
        rows = [(numbers[self._distinct], lefts) for numbers, lefts in self._rows]
        return tuple(
            tuple(
                firsts_of_each([self._there(row, within, s) for row in rows], len(self._distinct))
            )
            for s in range(situations.count)
        )

    def _there(
        self, row: tuple[_Numbers, Sequence[_Left | None]], within: _Within, situation: int
    ) -> _Numbers:
        """Return numbers that tell apart what vectors leave of a row in a situation."""
        numbers, lefts = row
        seen: dict[_Left | None, int] = {}
        there = []
        for left in lefts:
            if left is not None:
                literals = [(within.left(n, situation), value) for n, value in left.literals]
                left = self._left(literals, [within.left(n, situation) for n in left.others])
            there.append(seen.setdefault(left, len(seen)))
        return np.array(there, dtype=np.int64)[numbers]

    def _of_row(self, row: RowQuestions) -> tuple[_Numbers, list[_Left | None]]:
        """Return what vectors can leave of a row, and which of these each vector leaves."""
        questions = [condition for condition, _ in row.literals]
        questions += [*row.assigned.values(), *row.judged]
        columns = [self._left_by_vector(question) for question in questions]
        answers, which = _different(columns, self._count)
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
        return np.array(numbers, dtype=np.int64)[which], list(seen)

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
            return np.full(self._count, self._number(rewritten(question, lambda part: part)))
        parts = [self._left_by_vector(part) for part in children(question)]
        combinations, which = _different(parts, self._count)
        left = [
            self._number(recombined(question, [self._expressions[n] for n in numbers]))
            for numbers in combinations
        ]
        return np.array(left, dtype=np.int64)[which]

    def _input(self, number: int) -> _Numbers:
        boolean = self._kinds[number] is Kind.BOOLEAN
        values, which = np.unique(self._table[:, number], return_inverse=True)
        left = [
            self._number(Boolean(bool(value)) if boolean else Integer(value))
            for value in values.tolist()
        ]
        return np.array(left, dtype=np.int64)[which.reshape(-1)]

    def _number(self, expression: Expression) -> int:
        number = self._numbers.setdefault(expression, len(self._expressions))
        if number == len(self._expressions):
            self._expressions.append(expression)
        return number


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
        if number not in self._matters:
            self._matters[number] = self._features_that_matter(self._expressions[number])
        key = (number, situation & self._matters[number])
        if key not in self._left:
            self._left[key] = self._number(
                rewritten(self._expressions[number], lambda part: part, self._facts[situation])
            )
        return self._left[key]

    def _features_that_matter(self, expression: Expression) -> int:
        """Return a bit for each feature that shares a name with an expression; the boolean values
        of the others, and of their parts, say nothing about it."""
        names = references(expression)
        return sum(1 << bit for bit, own in enumerate(self._names) if own & names)


def _different(columns: Sequence[_Numbers], count: int) -> tuple[list[list[int]], _Numbers]:
    """Return the different rows of a table given by columns, and which of them each row is."""
    firsts, which = _compared(columns, count)
    return [[int(column[first]) for column in columns] for first in firsts], which


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
