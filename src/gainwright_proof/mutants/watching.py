"""Looks for broken requirements while a mutant is explored; the first ones end the search."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright_proof.mutants.array_code import Columns, selected
from gainwright_proof.mutants.array_machine import NO_ROW, ArrayMachine, Ticked
from gainwright_proof.mutants.judging import Judge
from gainwright_proof.mutants.one_tick import ticks_of
from gainwright_proof.mutants.waits import Waits
from gainwright_proof.mutants.watcher import Batch

if TYPE_CHECKING:
    from numpy.typing import NDArray


class MutantWatch:
    """Judges every tick and moment of a search."""

    def __init__(self, machine: ArrayMachine, judge: Judge) -> None:
        self._machine = machine
        self._judge = judge
        self._waits = Waits(machine, judge)
        self.broken: dict[str, None] = {}
        """Requirements and ``single_hit/<state>`` found broken."""

    @property
    def satisfied(self) -> bool:
        return bool(self.broken)

    def begun(self, states: NDArray[np.int64], variables: Columns) -> None:
        values = {**variables, **self._machine.outputs(states, variables)}
        self.broken |= dict.fromkeys(self._judge.broken_at(states, values))
        self._waits.begun(states, values)

    def held(self, batch: Batch) -> None:
        gaps = batch.states[batch.ticked.rows == NO_ROW]
        names = [state.name for state in self._machine.trial.states]
        self.broken |= {f"single_hit/{names[state]}": None for state in np.unique(gaps)}
        lanes = np.flatnonzero(batch.ticked.rows != NO_ROW)
        if not len(lanes):
            return
        ticked = Ticked(
            batch.ticked.rows[lanes],
            batch.ticked.states[lanes],
            selected(batch.ticked.variables, lanes),
        )
        ticks = ticks_of(self._machine, batch.states[lanes], selected(batch.values, lanes), ticked)
        self.broken |= dict.fromkeys(self._judge.broken(ticks))
        reached = selected(batch.reached, lanes)
        values = {**reached, **self._machine.outputs(ticked.states, reached)}
        self.broken |= dict.fromkeys(self._judge.broken_at(ticked.states, values))
        self.broken |= dict.fromkeys(self._waits.held(batch, lanes, ticks, values))
