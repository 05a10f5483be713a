"""Many equal ticks at once: a row that only counts is taken until a comparison can change."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

import numpy as np

from gainwright.language.expression import (
    COMPARISONS,
    Binary,
    Expression,
    Integer,
    Reference,
    references,
    walk,
)
from gainwright.language.model import Row, Trial
from gainwright.semantics.evaluate import evaluate
from gainwright_proof.mutants.array_code import Columns
from gainwright_proof.mutants.array_machine import Ticked
from gainwright_proof.mutants.input_choices import state_conditions
from gainwright_proof.mutants.thresholds import off_by_one
from gainwright_proof.mutants.timeouts import counter_names, counting_step

if TYPE_CHECKING:
    from numpy.typing import NDArray

Counters = Mapping[str, tuple[int, "NDArray[np.int64]"]]
"""Counter to its step and the sorted values at which to stop."""


class Holding:
    """Says for how many ticks the row just taken will be taken again, with the same inputs.

    True for the trial and for each of its threshold mutants: the stops are those of all.
    """

    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self._index = trial.index.states
        self._stops_at: dict[str, list[NDArray[np.int64] | None]] = {
            name: [self._stops(state.name, name) for state in trial.states]
            for name in sorted(counter_names(trial))
        }
        self._counters = {number: self._counted(row) for number, row in enumerate(trial.rows)}

    def coarse(self, states: NDArray[np.int64], variables: Columns) -> dict[str, NDArray[np.int64]]:
        """Return the variables, of each counter only between or at which of its stops it is."""
        result = dict(variables)
        for name, stops_by_state in self._stops_at.items():
            column = variables[name].copy()
            for state in np.unique(states).tolist():
                stops, lanes = stops_by_state[state], states == state
                if stops is not None:
                    values = variables[name][lanes]
                    place = np.searchsorted(stops, values)
                    column[lanes] = 2 * place - (stops[place] != values)
            result[name] = column
        return result

    def extend(
        self, before: Columns, ticked: Ticked
    ) -> tuple[NDArray[np.int64], dict[str, NDArray[np.int64]]]:
        """Return how many ticks, the one given included, take the row; and the variables then."""
        ticks = np.ones(len(ticked.rows), dtype=np.int64)
        variables = dict(ticked.variables)
        for row in np.unique(ticked.rows):
            counters = self._counters.get(int(row))
            if not counters:
                continue
            lanes = np.flatnonzero(ticked.rows == row)
            lanes = lanes[_only_counters_move(before, ticked, lanes, counters)]
            more = _ticks_until_stop(ticked, lanes, counters)
            ticks[lanes] += more
            for name, (step, _) in counters.items():
                column = variables[name].copy()
                column[lanes] += more * step
                variables[name] = column
        return ticks, variables

    def _counted(self, row: Row) -> Counters:
        """Return the counters of a row that does nothing else when repeated; or nothing."""
        if row.source != row.target:
            return {}
        found = {}
        for name, value in row.actions.items():
            step = counting_step(name, value)
            if step:
                stops = self._stops_at[name][self._index[row.source]]
                if stops is None:
                    return {}
                found[name] = (step, stops)
            elif references(value):
                return {}
        return found

    def _stops(self, state: str, name: str) -> NDArray[np.int64] | None:
        """Return the values at which a comparison can change; None if other names decide that."""
        variable = next(v for v in self._trial.variables if v.name == name)
        values = {variable.low, variable.high}
        for condition in state_conditions(self._trial, state):
            for part in walk(condition.expression):
                if not isinstance(part, Binary) or name not in references(part):
                    continue
                if part.operator in COMPARISONS:
                    limit = _limit(part, name)
                    if limit is None:
                        return None
                    values |= {value + step for value in _limits(limit) for step in (-1, 0, 1)}
        return np.array(sorted(v for v in values if variable.low <= v <= variable.high))


def _limit(comparison: Binary, name: str) -> Expression | None:
    """Return what the name alone is compared with, if that is constant."""
    sides = (comparison.left, comparison.right)
    for side, other in (sides, sides[::-1]):
        if side == Reference(name) and not references(other):
            return other
    return None


def _limits(limit: Expression) -> Iterator[int]:
    """Yield the value of a constant expression, in the trial and in its threshold mutants."""
    yield evaluate(limit, {})
    literals = sum(isinstance(part, Integer) for part in walk(limit))
    for place in range(literals):
        for step in (-1, 1):
            yield evaluate(off_by_one(limit, place, step), {})


def _only_counters_move(
    before: Columns, ticked: Ticked, lanes: NDArray[np.int64], counters: Counters
) -> NDArray[np.bool_]:
    same = np.ones(len(lanes), dtype=bool)
    for name, after in ticked.variables.items():
        if name not in counters:
            same &= after[lanes] == before[name][lanes]
    return same


def _ticks_until_stop(
    ticked: Ticked, lanes: NDArray[np.int64], counters: Counters
) -> NDArray[np.int64]:
    """Return how many more ticks there are until the first counter comes to a stop."""
    more = np.full(len(lanes), np.iinfo(np.int64).max)
    for name, (step, stops) in counters.items():
        value = ticked.variables[name][lanes]
        stop = stops[np.searchsorted(stops, value)]  # values are in range, its end is a stop
        more = np.minimum(more, (stop - value) // step)
    return more
