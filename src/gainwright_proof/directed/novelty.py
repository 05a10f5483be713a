"""Which moments of a search are worth going on from: those that show something new.

Looked at are, for each state and each combination of values of enumerations: what comparisons of
variables with each other and with numbers say, the values of variables with few of them, in which
stretch between such numbers a time lies, pairs of all these, and each value of the other variables
beside the stretch. A moment that has no pair for the first time is left aside.
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Iterator
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from gainwright.language.expression import (
    COMPARISONS,
    Binary,
    Expression,
    InState,
    Integer,
    Operator,
    Reference,
    references,
    walk,
)
from gainwright.language.model import Trial, Variable
from gainwright.semantics.array_code import ArrayCode, filled
from gainwright_proof.directed.lanes import Moments
from gainwright_proof.exploration.features import thresholds

_FEW = 16
"""Values of a variable that is paired with all others."""
_SOME = 1 << 10
"""Values of a variable that are looked at one by one."""


def comparisons(trial: Trial, expressions: Iterable[Expression]) -> Iterator[Expression]:
    """Yield the comparisons of variables with each other and with numbers, each once."""
    names = trial.index.variables.keys()
    seen: dict[Expression, None] = {}
    for expression in expressions:
        for part in walk(expression):
            if isinstance(part, Binary) and part.operator in COMPARISONS:
                read = references(part)
                if read and read <= names and not any(map(_of_another_moment, walk(part))):
                    seen[part] = None
    yield from seen


def _of_another_moment(part: Expression) -> bool:
    return isinstance(part, InState) or (isinstance(part, Reference) and part.after)


def points(trial: Trial, expressions: Iterable[Expression]) -> dict[str, list[int]]:
    """Return, for each variable that counts the ticks of a state, the values at which comparisons
    of it with numbers can change, sorted."""
    found: dict[str, set[int]] = {name: set() for name in timers(trial).values()}
    for comparison in comparisons(trial, expressions):
        read = references(comparison)
        if len(read) == 1 and (name := next(iter(read))) in found:
            found[name] |= set(thresholds(comparison) or ())
    return {name: sorted(values) for name, values in found.items()}


def timers(trial: Trial) -> dict[int, str]:
    """Return the variable that each row raises by one while it stays in its state, by row."""
    found = {}
    for number, row in enumerate(trial.rows):
        for name, value in row.actions.items():
            counts = value == Binary(Operator.ADD, Reference(name), Integer(1))
            if row.source == row.target and counts:
                found[number] = name
    return found


class Novelty:
    """What has been seen so far."""

    def __init__(
        self,
        trial: Trial,
        code: ArrayCode,
        expressions: Iterable[Expression],
        apart: Container[Expression] = (),
    ) -> None:
        """``expressions`` are those whose comparisons matter; moments that differ in one of
        ``apart``, comparisons and boolean variables, are not compared with each other."""
        wanted = list(expressions)
        self._trial = trial
        self._points = points(trial, wanted)
        compared = [
            c for c in comparisons(trial, wanted) if not references(c) <= self._points.keys()
        ]
        self._compared = code.function(compared)
        self._few = [v for v in trial.variables if _size(v) <= _FEW]
        self._many = [
            v for v in trial.variables
            if _FEW < _size(v) <= _SOME and v.name not in self._points
        ]  # fmt: skip
        sizes = [*map(_size, self._few), *(2 for _ in compared)]
        paired = len(sizes)
        sizes += [len(values) + 1 for values in self._points.values()]
        with_times = len(sizes)
        sizes += map(_size, self._many)
        parts = [*(Reference(v.name) for v in self._few), *compared]
        enumerations = {Reference(v.name) for v in self._few if v.enumeration}
        self._placed = [
            (k, sizes[k]) for k, part in enumerate(parts) if part in enumerations or part in apart
        ]
        places = len(trial.states) * math.prod(size for _, size in self._placed)
        chosen = [*combinations(range(with_times), 2)]
        chosen += product(range(paired, with_times), range(with_times, len(sizes)))
        self._seen = {(a, b): np.zeros((places, sizes[a], sizes[b]), dtype=bool) for a, b in chosen}

    def of(self, moments: Moments) -> NDArray[np.int64]:
        """Return the lanes that show something new, and note what they show."""
        columns = self._columns(moments)
        places = moments.states.astype(np.int64)
        for column, size in self._placed:
            places = places * size + columns[column]
        new = np.zeros(len(places), dtype=bool)
        for (a, b), seen in self._seen.items():
            new[_first(seen, places, columns[a], columns[b])] = True
        return np.flatnonzero(new)

    def _columns(self, moments: Moments) -> list[NDArray[np.int64]]:
        values = {
            variable.name: moments.variables[:, k].astype(np.int64)
            for k, variable in enumerate(self._trial.variables)
        }
        compared = self._compared(values, 0, {}, 0)
        return [
            *(values[v.name] - v.low for v in self._few),
            *(filled(value, len(moments.states)) for value in compared),
            *(np.searchsorted(p, values[name], side="right") for name, p in self._points.items()),
            *(values[v.name] - v.low for v in self._many),
        ]


def _first(
    seen: NDArray[np.bool_], moments: NDArray, first: NDArray, second: NDArray
) -> NDArray[np.int64]:
    """Return the lanes that are the first with their place in a table, and fill these."""
    _, columns, rows = seen.shape
    places = (moments * columns + first) * rows + second
    flat = seen.reshape(-1)
    fresh = (~flat[places]).nonzero()[0]
    if not len(fresh):
        return fresh
    flat[places[fresh]] = True
    return fresh[np.unique(places[fresh], return_index=True)[1]]


def _size(variable: Variable) -> int:
    return variable.high - variable.low + 1
