"""Drops most candidate facts before a solver is asked: ticks of the reference semantics.

A moment in which all facts and candidates hold is as good as one from a solver: whatever fails a
tick later is not inductive. Such moments are found by ticking on from known ones and by setting
variables to values that matter. Pseudo-random with a fixed seed; the result of the induction is not
changed.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from gainwright.language.model import Row, Trial
from gainwright_proof.induction.fast_machine import FastMachine, Values
from gainwright_proof.induction.induction import Induction

MOMENTS = 24
"""Moments kept per state."""
TRIES_PER_ROW = 3
TICKS_SPREAD = 6
"""Ticks of each row whose extremes are tried too."""


@dataclass(frozen=True, slots=True)
class SiftedTick:
    row: Row
    before: Values
    inputs: Values
    after: Values


class Sifter:
    def __init__(
        self,
        trial: Trial,
        machine: FastMachine,
        induction: Induction,
        inputs_by_row: Mapping[str, Values],
        values_by_variable: Mapping[str, Sequence[int]],
    ) -> None:
        """``inputs_by_row`` are inputs with which a row can hold, for rows that can."""
        self._trial = trial
        self._machine = machine
        self._induction = induction
        self._inputs = inputs_by_row
        self._values = values_by_variable
        self._random = random.Random(0)
        self.ticks: dict[tuple[object, ...], SiftedTick] = {}
        """Distinct ticks that were tried, by row and variables; for the search of ranks."""
        self._moments: dict[str, dict[tuple[int, ...], Values]] = {s.name: {} for s in trial.states}
        self._keep(trial.initial_state, {v.name: v.initial for v in trial.variables})

    def run(self, rounds: int) -> None:
        """Try every row some times per round."""
        for _ in range(rounds):
            for row in self._trial.rows:
                if row.id in self._inputs:
                    for _ in range(TRIES_PER_ROW):
                        self._try(row.source, self._inputs[row.id])

    def _try(self, state: str, inputs: Values) -> None:
        known = self._moments[state]
        if not known:
            return
        variables = self._varied(state, self._random.choice(list(known.values())))
        values = {**variables, **inputs}
        row = self._machine.row(state, values)
        if row is None:
            return
        after = self._machine.after(row, variables, values)
        self._note(SiftedTick(row, variables, inputs, after))
        self._induction.drop(row.target, after)
        self._keep(row.target, after)

    def spread(self) -> None:
        """Add the extremes of some ticks of each row to the ticks tried."""
        by_row: dict[str, list[SiftedTick]] = {}
        for tick in self.ticks.values():
            by_row.setdefault(tick.row.id, []).append(tick)
        for ticks in by_row.values():
            for tick in ticks[:: max(1, len(ticks) // TICKS_SPREAD)]:
                for extreme in self.extremes(tick):
                    self._note(extreme)

    def _note(self, tick: SiftedTick) -> None:
        self.ticks.setdefault((tick.row.id, *tick.before.values()), tick)

    def extremes(self, tick: SiftedTick) -> Iterator[SiftedTick]:
        """Yield ticks by the same row with one variable as far up or down as can be."""
        for name, values in self._values.items():
            for ordered in (values, values[::-1]):
                changed = self._first(tick, name, ordered)
                if changed is not None:
                    yield changed

    def _first(self, tick: SiftedTick, name: str, values: Sequence[int]) -> SiftedTick | None:
        for value in values:
            before = {**tick.before, name: value}
            if self._induction.holds(tick.row.source, before):
                known = {**before, **tick.inputs}
                if self._machine.row(tick.row.source, known) is tick.row:
                    after = self._machine.after(tick.row, before, known)
                    return SiftedTick(tick.row, before, tick.inputs, after)
        return None

    def _varied(self, state: str, variables: Values) -> Values:
        """Return the moment with one variable as far away as all candidates allow."""
        name = self._random.choice(list(variables))
        values = self._values[name]
        for value in values if self._random.random() < 0.5 else values[::-1]:
            changed = {**variables, name: value}
            if self._induction.holds(state, changed):
                return changed
        return variables

    def _keep(self, state: str, variables: Values) -> None:
        known = self._moments[state]
        known.setdefault(tuple(variables.values()), variables)
        if len(known) > MOMENTS:
            del known[self._random.choice(list(known))]
