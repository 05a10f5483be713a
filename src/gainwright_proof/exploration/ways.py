"""One input vector for each way in which inputs can matter in a state, one input after the other.

:mod:`vectors` looks at every combination of the values of features. Where many inputs meet in one
state there are too many of them, though nearly all come to the same: an input that makes the row
with precedence hold leaves the others nothing to decide. So here the inputs get their values one
after the other. After each, what is left of the questions of the state is simplified, a row that
cannot hold any more is asked nothing else, and of all choices that leave the same expressions the
first is kept. What is left in the end are the behaviours of :mod:`behaviour`: two input vectors
that leave the same make, whatever the variables are, the same rows hold, take the same row, give
the same new values and decide the same about every requirement.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import cache

from gainwright.language.expression import (
    Boolean,
    Expression,
    InState,
    Integer,
    Reference,
    references,
)
from gainwright.language.model import Kind, Signal, Trial
from gainwright_proof.exploration.questions import RowQuestions
from gainwright_proof.exploration.rewrite import FALSE, TRUE, rewritten

_Left = tuple[tuple[tuple[int, bool], ...], tuple[int, ...]]
"""What is left of a row that can hold: open conditions with their wanted values, and the rest."""
_Rows = tuple[int, ...]
"""What is left of each row, by number."""
_CANNOT_HOLD = 0


class TooManyWays(Exception):
    """More different things are left than wanted; the text says in which state."""


class Ways:
    """Finds the ways of one state."""

    def __init__(
        self,
        trial: Trial,
        rows: Sequence[RowQuestions],
        values_of: Callable[[str], Sequence[int]],
    ) -> None:
        """``values_of`` has, for an input, the values that the questions tell apart."""
        self._trial = trial
        self._values_of = values_of
        self._expressions: list[Expression] = []
        self._numbers: dict[Expression, int] = {}
        self._lefts: list[_Left | None] = [None]
        self._number_of_left: dict[_Left, int] = {}
        self._reads = cache(self._inputs_read)
        self._with_value = cache(self._substituted)
        self._left_with_value = cache(self._left_substituted)
        self._begin = tuple(self._of_row(row) for row in rows)

    def vectors(self, state: str, most: int) -> list[tuple[int, ...]]:
        """Return one vector for each way; inputs that do not matter are lowest.

        Raises TooManyWays where more than ``most`` are left on the way.
        """
        found: dict[_Rows, tuple[tuple[str, int], ...]] = {self._begin: ()}
        for name in self._order():
            found = self._after(name, found)
            if len(found) > most:
                raise TooManyWays(
                    f"in state {state} the inputs can matter in {len(found)} ways or more "
                    f"(at most {most}), {name} among them"
                )
        return [self._vector(dict(chosen)) for chosen in found.values()]

    def _vector(self, chosen: dict[str, int]) -> tuple[int, ...]:
        return tuple(chosen.get(signal.name, signal.low) for signal in self._trial.inputs)

    def _order(self) -> list[str]:
        """Return the inputs that matter, those of conditions with precedence first."""
        order: dict[str, None] = {}
        for left in self._begin:
            if left != _CANNOT_HOLD:
                literals, others = self._parts(left)
                for number in (*(n for n, _ in literals), *others):
                    order |= dict.fromkeys(self._in_trial_order(self._reads(number)))
        return list(order)

    def _in_trial_order(self, names: frozenset[str]) -> list[str]:
        return [signal.name for signal in self._trial.inputs if signal.name in names]

    def _after(
        self, name: str, found: dict[_Rows, tuple[tuple[str, int], ...]]
    ) -> dict[_Rows, tuple[tuple[str, int], ...]]:
        """Return what is left once an input has its value."""
        after: dict[_Rows, tuple[tuple[str, int], ...]] = {}
        values = self._values_of(name)
        for rows, chosen in found.items():
            if not any(name in self._read_by_left(left) for left in rows):
                after.setdefault(rows, chosen)
                continue
            for value in values:
                left = tuple(self._left_with_value(one, name, value) for one in rows)
                after.setdefault(left, (*chosen, (name, value)))
        return after

    def _of_row(self, row: RowQuestions) -> int:
        literals = [(self._number(condition), value) for condition, value in row.literals]
        others = [self._number(e) for e in (*row.assigned.values(), *row.judged)]
        return self._left(literals, others)

    def _left(self, literals: Iterable[tuple[int, bool]], others: Iterable[int]) -> int:
        """Return the number of what is left of a row; ``_CANNOT_HOLD`` if it cannot hold."""
        still_open = []
        for number, wanted in literals:
            expression = self._expressions[number]
            if expression in (TRUE, FALSE):
                if (expression == TRUE) is not wanted:
                    return _CANNOT_HOLD
            else:
                still_open.append((number, wanted))
        left = tuple(still_open), tuple(others)
        if left not in self._number_of_left:
            self._number_of_left[left] = len(self._lefts)
            self._lefts.append(left)
        return self._number_of_left[left]

    def _parts(self, left: int) -> _Left:
        parts = self._lefts[left]
        assert parts is not None
        return parts

    def _left_substituted(self, left: int, name: str, value: int) -> int:
        if name not in self._read_by_left(left):
            return left
        literals, others = self._parts(left)
        return self._left(
            [(self._with_value(number, name, value), wanted) for number, wanted in literals],
            [self._with_value(number, name, value) for number in others],
        )

    def _read_by_left(self, left: int) -> frozenset[str]:
        if left == _CANNOT_HOLD:
            return frozenset()
        literals, others = self._parts(left)
        return frozenset[str]().union(
            *(self._reads(number) for number, _ in literals), *map(self._reads, others)
        )

    def _inputs_read(self, number: int) -> frozenset[str]:
        return references(self._expressions[number]) & self._trial.index.inputs.keys()

    def _substituted(self, number: int, name: str, value: int) -> int:
        if name not in self._reads(number):
            return number
        known = _literal(self._trial.inputs[self._trial.index.inputs[name]], value)

        def leaf(part: Reference | InState) -> Expression:
            return known if isinstance(part, Reference) and part.name == name else part

        return self._number(rewritten(self._expressions[number], leaf))

    def _number(self, expression: Expression) -> int:
        number = self._numbers.setdefault(expression, len(self._expressions))
        if number == len(self._expressions):
            self._expressions.append(expression)
        return number


def _literal(signal: Signal, value: int) -> Expression:
    return Boolean(bool(value)) if signal.kind is Kind.BOOLEAN else Integer(value)
