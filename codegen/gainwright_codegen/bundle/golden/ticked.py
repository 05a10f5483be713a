"""What single ticks do, for many memories and inputs at once, held to the reference on the way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.detector.evidence import BOOST_MAX
from gainwright.language.model import Trial
from gainwright.semantics.array_code import ArrayCode
from gainwright.semantics.array_machine import NO_ROW, ArrayMachine, Ticked
from gainwright_codegen.bundle.golden.sample import Machine, tick_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from gainwright_codegen.axis_c.tables import StageTables

_WORD = 32
_EVERY = 32
"""One vector in so many is ticked by the reference too: it takes a few hundred times as long."""


def ordered_heights(
    trial: Trial,
    stages: Sequence[StageTables],
    outputs: NDArray[np.int64],
    boosts: NDArray[np.int64],
) -> NDArray[np.int64]:
    """Return the heights of the pulses that an axis orders where none was ordered before; else 0.

    Args:
        trial: with its stages in the order of ``stages``.
        stages: tables of the machine; none if there is none.
        outputs: of the trial after a tick, a line each.
        boosts: by their two lowest bits pulses are doubled.
    """
    index = trial.index.outputs
    if not stages or "pulse_request" not in index:
        return np.zeros(len(outputs), dtype=np.int64)
    active = outputs[:, index["active_stage"]] if "active_stage" in index else 0 * boosts
    by_stage = []
    for tables in stages:
        heights = np.array(tables.pulse.heights, dtype=np.int64)
        doubled = heights[outputs[:, index[tables.stage.rung]]] << (boosts & BOOST_MAX)
        by_stage.append(np.minimum(doubled, heights[0] + heights[0] // 2))
    ordered = np.choose(active, by_stage)
    return np.where(outputs[:, index["pulse_request"]] != 0, ordered, 0)


class TickedVectors:
    """Ticks of one trial by the array form of its semantics."""

    def __init__(self, trial: Trial, reference: Machine) -> None:
        self._trial, self._reference = trial, reference
        self._machine = ArrayMachine(trial, ArrayCode(trial))
        self.count = 0

    def words(self, state: int, vectors: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return what :func:`tick_words` returns, a line a vector.

        Args:
            state: number of the state that all begin in.
            vectors: values of the variables, then of the inputs, which are limited to their
                ranges; shape (vectors, signals).

        Raises:
            RuntimeError: not exactly one row holds, or the reference does something else.
        """
        values = self._limited(vectors)
        ticked = self._machine.tick(np.full(len(vectors), state), values)
        if (ticked.rows == NO_ROW).any():
            raise RuntimeError(f"not exactly one row of state {state} holds for a golden vector")
        found = self._lines(ticked)
        for line in range(self.count % _EVERY, len(vectors), _EVERY):
            lane = {name: int(column[line]) for name, column in values.items()}
            if self._by_reference(state, lane) != found[line].tolist():
                raise RuntimeError(f"array form and reference differ in state {state} at {lane}")
        self.count += len(vectors)
        return found

    def _limited(self, vectors: NDArray[np.int64]) -> dict[str, NDArray[np.int64]]:
        signals = (*self._trial.variables, *self._trial.inputs)
        return {
            signal.name: np.clip(column, signal.low, signal.high)
            for signal, column in zip(signals, vectors.T, strict=True)
        }

    def _lines(self, ticked: Ticked) -> NDArray[np.int64]:
        outputs = self._machine.outputs(ticked.states, ticked.variables)
        halves = [np.zeros(len(ticked.rows), dtype=np.int64) for _ in range(2)]
        for k, variable in enumerate(self._trial.variables):
            halves[k // _WORD] += ticked.saturated[variable.name].astype(np.int64) << k % _WORD
        columns = [
            ticked.rows,
            ticked.states,
            *halves,
            *(ticked.variables[variable.name] for variable in self._trial.variables),
            *(outputs[output.name] for output in self._trial.outputs),
        ]
        return np.stack(columns, axis=1)

    def _by_reference(self, state: int, lane: dict[str, int]) -> list[int]:
        trial = self._trial
        memory = {variable.name: lane[variable.name] for variable in trial.variables}
        self._reference.restore(trial.states[state].name, memory)
        row = self._reference.tick({signal.name: lane[signal.name] for signal in trial.inputs})
        return tick_words(trial, self._reference, row)
