"""Ticks from reachable moments on which mutants are tried first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.language.model import Trial
from gainwright_proof.mutants.array_code import Columns, selected
from gainwright_proof.mutants.array_machine import ArrayMachine
from gainwright_proof.mutants.corpus import Corpus
from gainwright_proof.mutants.input_choices import critical, state_conditions

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST_MOMENTS = 400
"""Moments kept for one state."""
INPUTS_PER_ROW = 8
"""Input valuations kept for each row that one moment can take."""

Choices = list[dict[str, "NDArray[np.int64]"]]
"""For each state, input valuations that it can tell apart."""


@dataclass(frozen=True, slots=True)
class Samples:
    """One lane per tick: a moment of the corpus, inputs, and the row that the original takes."""

    moments: NDArray[np.int64]
    states: NDArray[np.int64]
    values: Columns
    """Variables and inputs."""
    rows: NDArray[np.int64]

    def pick(self, lanes: NDArray[np.int64]) -> Samples:
        """Return the samples of some lanes."""
        return Samples(
            self.moments[lanes], self.states[lanes], selected(self.values, lanes), self.rows[lanes]
        )


def samples(
    trial: Trial, machine: ArrayMachine, corpus: Corpus, choices: Choices, seed: int
) -> Samples:
    """Return ticks from distinct moments of every state, some for each row that they can take."""
    random = np.random.default_rng(seed)
    parts = [
        _of_state(machine, corpus, state, _distinct(trial, corpus, state), choices[state], random)
        for state in range(len(trial.states))
    ]
    return Samples(
        np.concatenate([part.moments for part in parts]),
        np.concatenate([part.states for part in parts]),
        {name: np.concatenate([part.values[name] for part in parts]) for name in parts[0].values},
        np.concatenate([part.rows for part in parts]),
    )


def _distinct(trial: Trial, corpus: Corpus, state: int) -> NDArray[np.int64]:
    """Return the first and the last moment of each kind that conditions can tell apart."""
    nodes = np.flatnonzero(corpus.states == state)
    expressions = [c.expression for c in state_conditions(trial, trial.states[state].name)]
    marks = []
    for variable in trial.variables:
        stops = np.array(critical(trial, variable, expressions))
        values = corpus.variables[variable.name][nodes]
        place = np.minimum(np.searchsorted(stops, values), len(stops) - 1)
        marks.append(2 * place - (stops[place] != values))
    if not len(nodes) or not marks:
        return nodes
    table = np.column_stack(marks)
    _, first = np.unique(table, axis=0, return_index=True)
    _, last = np.unique(table[::-1], axis=0, return_index=True)
    kept = np.unique(np.concatenate([first, len(nodes) - 1 - last]))
    if len(kept) > MOST_MOMENTS:
        kept = kept[np.linspace(0, len(kept) - 1, MOST_MOMENTS).astype(np.int64)]
    return nodes[kept]


def _of_state(
    machine: ArrayMachine,
    corpus: Corpus,
    state: int,
    nodes: NDArray[np.int64],
    choices: Columns,
    random: np.random.Generator,
) -> Samples:
    count = len(next(iter(choices.values())))
    found_nodes, found_choices, found_rows = [], [], []
    for node in nodes.tolist():
        order = random.permutation(count)
        values = {
            **{name: np.full(count, column[node]) for name, column in corpus.variables.items()},
            **selected(choices, order),
        }
        states = np.full(count, state)
        rows = machine.rows(states, machine.conditions(values, count))
        for row in np.unique(rows).tolist():
            lanes = np.flatnonzero(rows == row)[:INPUTS_PER_ROW]
            found_choices.append(order[lanes])
            found_nodes.append(np.full(len(lanes), node))
            found_rows.append(np.full(len(lanes), row))
    empty = np.zeros(0, dtype=np.int64)
    moments = np.concatenate([empty, *found_nodes])
    chosen = np.concatenate([empty, *found_choices])
    values = {**selected(corpus.variables, moments), **selected(choices, chosen)}
    rows = np.concatenate([empty, *found_rows])
    return Samples(moments, np.full(len(moments), state), values, rows)
