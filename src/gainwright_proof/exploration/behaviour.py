"""Tells input vectors apart by what they make a state do, whatever the variables are.

With the values of the inputs put in, the questions of a state (:mod:`questions`) become expressions
over variables. Of a row that cannot hold, nothing else is asked. Two vectors that leave the same
expressions make the same rows hold, take the same row, give the same new values and decide the same
about every requirement, for all values of the variables. What is known of these (:mod:`situations`)
can be put in too.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence

from gainwright.language.expression import (
    Boolean,
    Expression,
    InState,
    Integer,
    Reference,
    references,
)
from gainwright.language.model import Kind, Trial
from gainwright_proof.exploration.questions import RowQuestions
from gainwright_proof.exploration.rewrite import Facts, rewritten

_Vector = tuple[int, ...]


class Behaviour:
    """Compares input vectors of one trial."""

    def __init__(self, trial: Trial) -> None:
        self._inputs = trial.index.inputs
        self._kinds = [signal.kind for signal in trial.inputs]
        self._left: dict[Hashable, Expression] = {}

    def distinct_first(
        self, rows: Sequence[RowQuestions], vectors: Iterable[_Vector], facts: Facts | None = None
    ) -> tuple[list[_Vector], list[_Vector]]:
        """Return the first vector of each behaviour, and all others, where ``facts`` hold."""
        self._left.clear()
        seen: set[Hashable] = set()
        first, others = [], []
        for vector in vectors:
            behaviour = tuple(self._row(row, vector, facts) for row in rows)
            (others if behaviour in seen else first).append(vector)
            seen.add(behaviour)
        return first, others

    def _row(self, row: RowQuestions, vector: _Vector, facts: Facts | None) -> Hashable:
        """Return what is left of the questions of a row; None if it cannot hold."""
        literals = []
        for condition, value in row.literals:
            left = self._with(condition, vector, facts)
            if left == Boolean(not value):
                return None
            if left != Boolean(value):
                literals.append((left, value))
        return (
            tuple(literals),
            tuple(self._with(value, vector, facts) for value in row.assigned.values()),
            tuple(self._with(formula, vector, facts) for formula in row.judged),
        )

    def _with(self, expression: Expression, vector: _Vector, facts: Facts | None) -> Expression:
        """Return an expression with the values of the inputs put in."""
        names = sorted(name for name in references(expression) if name in self._inputs)
        key = (expression, tuple((name, vector[self._inputs[name]]) for name in names))
        if key not in self._left:

            def leaf(part: Reference | InState) -> Expression:
                if isinstance(part, Reference) and part.name in self._inputs:
                    number = self._inputs[part.name]
                    value = vector[number]
                    if self._kinds[number] is Kind.BOOLEAN:
                        return Boolean(bool(value))
                    return Integer(value)
                return part

            self._left[key] = rewritten(expression, leaf, facts)
        return self._left[key]
