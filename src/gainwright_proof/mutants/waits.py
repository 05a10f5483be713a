"""Responses and bounded lengths along the runs of a search.

For each moment of the search and each requirement with a time in it: for how many ticks it has been
waited for on the way there, or that nothing is waited for. A wait that is too long, or that goes
round in a circle, is a violation. No violation found proves nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.language.expression import Boolean, Expression, references
from gainwright.language.model import Requirement, Trial
from gainwright_proof.mutants.array_code import Columns
from gainwright_proof.mutants.array_machine import ArrayMachine
from gainwright_proof.mutants.judging import Judge, Ticks
from gainwright_proof.mutants.timeouts import counter_names
from gainwright_proof.mutants.watcher import UNKNOWN, Batch

if TYPE_CHECKING:
    from numpy.typing import NDArray

NOT_WAITING = -1


class Waits:
    """How long each requirement with a time in it has been waited for."""

    def __init__(self, machine: ArrayMachine, judge: Judge) -> None:
        self._judge = judge
        self._timed = [*judge.bounded, *judge.responses]
        counters = counter_names(machine.trial)
        self._read_counters = np.array(
            [_reads(machine.trial, requirement, counters) for requirement in self._timed]
        )
        self._waited: list[NDArray[np.int64]] = []
        """For each moment, ticks waited per requirement."""
        self._parents: list[int] = []
        self._since_begin: list[int] = []

    def begun(self, states: NDArray[np.int64], values: Columns) -> None:
        """Note the moments from which the search begins; what came before is not known."""
        start = np.full((len(self._timed), len(states)), NOT_WAITING)
        holds = self._holds(states, values)
        self._waited = list(np.where(holds, NOT_WAITING, self._begins(start, states, values)).T)
        self._parents = [UNKNOWN] * len(states)
        self._since_begin = [0] * len(states)

    def held(
        self, batch: Batch, lanes: NDArray[np.int64], ticks: Ticks, values: Columns
    ) -> list[str]:
        """Note ticks held in some lanes; return the requirements found broken.

        ``ticks`` are their first ticks, ``values`` what is reached in the end.
        """
        if not self._timed or not len(lanes):
            return []
        parents, count = batch.parents[lanes], batch.ticks[lanes]
        waited = np.array([self._waited[parent] for parent in parents.tolist()]).T
        waited = np.where(waited == NOT_WAITING, NOT_WAITING, waited + count)
        triggered = self._responses_triggered(ticks)
        waited = np.where((waited == NOT_WAITING) & triggered, count, waited)
        waited = self._begins(waited, ticks.states_after, values)
        waited[self._holds(ticks.states_after, values)] = NOT_WAITING
        # What happens between the first and the last of many ticks is not looked at.
        waited[np.ix_(self._read_counters, count > 1)] = NOT_WAITING
        limits = np.array([requirement.within_ticks for requirement in self._timed])
        late = (waited >= limits[:, None]).any(axis=1)
        late |= self._endless(batch, lanes, waited)
        self._keep(batch, lanes, waited)
        return [r.id for r, broken in zip(self._timed, late.tolist(), strict=True) if broken]

    def _holds(self, states: NDArray[np.int64], values: Columns) -> NDArray[np.bool_]:
        found = [self._judge.formula_at(r, states, values) for r in self._timed]
        return np.array(found, dtype=bool).reshape(len(self._timed), len(states))

    def _begins(
        self, waited: NDArray[np.int64], states: NDArray[np.int64], values: Columns
    ) -> NDArray[np.int64]:
        """Let the wait of bounded requirements begin where their trigger holds."""
        result = waited.copy()
        for place, requirement in enumerate(self._judge.bounded):
            begins = self._judge.trigger_at(requirement, states, values)
            result[place, begins & (waited[place] == NOT_WAITING)] = 0
        return result

    def _responses_triggered(self, ticks: Ticks) -> NDArray[np.bool_]:
        """Return where the first tick triggers a response; shape (requirements, lanes)."""
        triggered = np.zeros((len(self._timed), len(ticks.states_before)), dtype=bool)
        for place, requirement in enumerate(self._judge.responses, len(self._judge.bounded)):
            triggered[place] = self._judge.triggered_over(requirement, ticks)
        return triggered

    def _endless(
        self, batch: Batch, lanes: NDArray[np.int64], waited: NDArray[np.int64]
    ) -> NDArray[np.bool_]:
        """Return which requirements are waited for on the way round from a moment to itself."""
        endless = np.zeros(len(self._timed), dtype=bool)
        numbers = batch.numbers[lanes].tolist()
        for place, (number, parent) in enumerate(
            zip(numbers, batch.parents[lanes].tolist(), strict=True)
        ):
            known = UNKNOWN < number < len(self._waited)
            waiting = waited[:, place] != NOT_WAITING
            if known and waiting.any() and self._leads_to(number, parent):
                # Waited for at the moment itself and ever since, on the way round.
                there, here = self._waited[number], self._waited[parent]
                elapsed = self._since_begin[parent] - self._since_begin[number]
                all_the_way = (there != NOT_WAITING) & (here == there + elapsed)
                endless |= waiting & (all_the_way | (number == parent))
        return endless

    def _leads_to(self, ancestor: int, moment: int) -> bool:
        while moment > ancestor:  # parents have smaller numbers
            moment = self._parents[moment]
        return moment == ancestor

    def _keep(self, batch: Batch, lanes: NDArray[np.int64], waited: NDArray[np.int64]) -> None:
        """Note the new moments, which come in the order of their numbers."""
        for place, number in enumerate(batch.numbers[lanes].tolist()):
            if number == len(self._waited):
                parent = int(batch.parents[lanes[place]])
                self._waited.append(waited[:, place])
                self._parents.append(parent)
                self._since_begin.append(self._since_begin[parent] + int(batch.ticks[lanes[place]]))


def _reads(trial: Trial, requirement: Requirement, names: frozenset[str]) -> bool:
    """Return whether trigger or formula read some of the names, through others too."""
    waiting: list[Expression] = [requirement.formula, requirement.trigger or Boolean(True)]
    meanings = {c.name: [c.expression] for c in trial.conditions}
    for output in trial.outputs:
        meanings[output.name] = [state.value_of(output) for state in trial.states]
    seen: set[str] = set()
    while waiting:
        new = references(waiting.pop()) - seen
        seen |= new
        for name in new:
            waiting += meanings.get(name, [])
    return bool(seen & names)
