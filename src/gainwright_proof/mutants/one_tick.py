"""Tries a mutant on single ticks from moments that it can reach.

A mutant does what the original does until it first does something else. So every moment of the
original's corpus to which no changed tick leads is reachable in the mutant too, and a requirement
broken by the next tick is broken for certain.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from gainwright_proof.mutants.array_code import Columns, selected
from gainwright_proof.mutants.array_machine import NO_ROW, ArrayMachine, Ticked
from gainwright_proof.mutants.corpus import POWER_ON, Corpus
from gainwright_proof.mutants.judging import Judge, Ticks
from gainwright_proof.mutants.samples import Samples

if TYPE_CHECKING:
    from numpy.typing import NDArray


class OneTick:
    """The ticks of the original, against which those of mutants are held."""

    def __init__(self, machine: ArrayMachine, corpus: Corpus, samples: Samples) -> None:
        """``machine`` is that of the original."""
        self._corpus = corpus
        self._samples = _TicksTaken(machine, samples.states, samples.values)
        self._moments = samples.moments
        edges = np.arange(POWER_ON + 1, len(corpus))
        self._edges = _TicksTaken(machine, *corpus.before_edges(edges))

    def changed(
        self, mutant: ArrayMachine, rows: Iterable[int]
    ) -> tuple[NDArray[np.int64], Ticked]:
        """Return the samples where a mutant does something else, and what it does there.

        Samples that the mutant cannot reach without having done something else are left out.
        ``rows`` are the rows of the original (numbers) whose meaning changes.
        """
        numbers = list(rows)
        lanes, ticked = self._samples.changed(mutant, numbers)
        edges, _ = self._edges.changed(mutant, numbers)
        late = self._corpus.downstream_of(edges + POWER_ON + 1)[self._moments[lanes]]
        kept = np.flatnonzero(~late)
        return lanes[kept], _picked(ticked, kept)

    def broken(
        self, mutant: ArrayMachine, judge: Judge, lanes: NDArray[np.int64], ticked: Ticked
    ) -> dict[str, int]:
        """Return the requirements broken there, each with the first sample that breaks it."""
        taken = np.flatnonzero(ticked.rows != NO_ROW)
        if not len(taken):
            return {}
        ticks = ticks_of(
            mutant,
            self._samples.states[lanes[taken]],
            selected(self._samples.values, lanes[taken]),
            _picked(ticked, taken),
        )
        return {
            requirement: int(lanes[taken[first]])
            for requirement, first in judge.broken(ticks).items()
        }


class _TicksTaken:
    """Lanes, and what the original does in each."""

    def __init__(self, machine: ArrayMachine, states: NDArray[np.int64], values: Columns) -> None:
        self.states, self.values = states, values
        self._ticked = machine.tick(states, values)
        rows = len(machine.trial.rows)
        self._lanes_of = [np.flatnonzero(self._ticked.rows == row) for row in range(rows)]

    def changed(self, mutant: ArrayMachine, rows: list[int]) -> tuple[NDArray[np.int64], Ticked]:
        """Return the lanes where a mutant of some rows does something else, and what."""
        lanes = np.concatenate([self._lanes_of[row] for row in rows])
        ticked = mutant.tick(self.states[lanes], selected(self.values, lanes))
        different = (ticked.rows == NO_ROW) | (ticked.states != self._ticked.states[lanes])
        for name, after in ticked.variables.items():
            different |= after != self._ticked.variables[name][lanes]
        kept = np.flatnonzero(different)
        return lanes[kept], _picked(ticked, kept)


def ticks_of(
    machine: ArrayMachine, states: NDArray[np.int64], values: Columns, ticked: Ticked
) -> Ticks:
    """Return ticks with the outputs before and after them; all must have taken a row."""
    return Ticks(
        states,
        {**values, **machine.outputs(states, values)},
        ticked.states,
        {**ticked.variables, **machine.outputs(ticked.states, ticked.variables)},
    )


def _picked(ticked: Ticked, lanes: NDArray[np.int64]) -> Ticked:
    return Ticked(ticked.rows[lanes], ticked.states[lanes], selected(ticked.variables, lanes))
