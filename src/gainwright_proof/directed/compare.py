"""Ticks of the compiled C, held against the reference semantics in numpy."""

from __future__ import annotations

from typing import Any

import numpy as np

from gainwright.language.model import Signal, Trial
from gainwright.semantics.array_code import ArrayCode
from gainwright.semantics.array_machine import ArrayMachine, Columns
from gainwright_proof.directed.search import Batch


class Reference:
    """Takes the same ticks as the compiled C."""

    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self._machine = ArrayMachine(trial, ArrayCode(trial))
        self.ticks = 0
        """Ticks that were compared."""

    def over_a_tick(self, batch: Batch) -> tuple[Any, ...]:
        """Return values and states before and after single ticks, as a compiled formula takes
        them; inputs beyond their ranges count as the nearest value."""
        trial, outputs = self._trial, self._machine.outputs
        states, held, given = self._before(batch)
        after = _columns(trial.variables, batch.taken.after.variables)
        reached = batch.taken.after.states.astype(np.int64)
        before = {**held, **given, **outputs(states, held)}
        return before, states, {**after, **outputs(reached, after)}, reached

    def difference(self, batch: Batch) -> str:
        """Return a sentence on the first single tick that the reference does otherwise; empty if
        there is none."""
        states, held, given = self._before(batch)
        ticked = self._machine.tick(states, {**held, **given})
        self.ticks += len(states)
        after = _columns(self._trial.variables, batch.taken.after.variables)
        none = ticked.rows < 0
        same = ticked.rows == batch.taken.rows
        same |= none & (batch.taken.rows < 0)
        same &= none | (ticked.states == batch.taken.after.states)
        for name, values in ticked.variables.items():
            same &= none | (values == after[name])
        return self._in_words(batch, same)

    def _before(self, batch: Batch) -> tuple[Any, Columns, Columns]:
        given = {
            s.name: np.clip(batch.inputs[:, k].astype(np.int64), s.low, s.high)
            for k, s in enumerate(self._trial.inputs)
        }
        held = _columns(self._trial.variables, batch.before.variables)
        return batch.before.states.astype(np.int64), held, given

    def _in_words(self, batch: Batch, same: np.ndarray) -> str:
        if same.all():
            return ""
        lane = int(np.argmin(same))
        trial = self._trial
        held = zip(trial.variables, batch.before.variables[lane].tolist(), strict=False)
        given = zip(trial.inputs, batch.inputs[lane].tolist(), strict=False)
        listed = ", ".join(f"{s.name} = {value}" for s, value in (*held, *given))
        state = trial.states[int(batch.before.states[lane])].name
        return f"A step goes otherwise than specified, in state {state} with {listed}."


def _columns(signals: tuple[Signal, ...], table: np.ndarray) -> Columns:
    return {signal.name: table[:, k].astype(np.int64) for k, signal in enumerate(signals)}
