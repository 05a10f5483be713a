"""Builds a corpus: goes on from the newest moment of every region, by every row that it can take.

A region is a state with the boolean of all comparisons of variables and of all boolean variables.
Going on from the newest moment leads a ladder of gains up to its top in a few hundred rounds.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gainwright.language.expression import (
    COMPARISONS,
    Binary,
    Expression,
    Reference,
    references,
    walk,
)
from gainwright.language.model import Kind, Trial
from gainwright_proof.mutants.array_code import ArrayCode, Columns, filled_boolean, selected
from gainwright_proof.mutants.array_machine import NO_ROW, ArrayMachine
from gainwright_proof.mutants.corpus import NO_PARENT, Corpus
from gainwright_proof.mutants.holding import Holding
from gainwright_proof.mutants.input_choices import input_choices
from gainwright_proof.mutants.watcher import UNKNOWN, Batch, Watcher

if TYPE_CHECKING:
    from numpy.typing import NDArray

QUIET_ROUNDS = 40
"""The search ends so many rounds after the last new row or region."""
LONGEST_HOLD = 64
"""Most moments along which the same inputs are held."""
INPUTS_PER_ROW = 2
"""Input valuations tried for each row that a moment can take."""

Region = tuple[int, bytes]
"""State and booleans, as bits."""


@dataclass(frozen=True, slots=True)
class SearchLimits:
    rounds: int
    moments: int


@dataclass(slots=True)
class _Place:
    """What is known of one region."""

    inputs: NDArray[np.int64]
    """Input valuations worth trying, as numbers into the choices of its state."""
    waiting: list[int] = field(default_factory=list)
    """Moments from which the search has not gone on yet."""


class Explorer:
    """Searches the moments that a trial can reach; the same seed gives the same corpus."""

    def __init__(
        self, trial: Trial, code: ArrayCode, seed: int, watcher: Watcher | None = None
    ) -> None:
        self._trial = trial
        self._watcher = watcher
        self._machine = ArrayMachine(trial, code)
        self._holding = Holding(trial)
        self._random = np.random.default_rng(seed)
        self._booleans = code.function(_variable_booleans(trial))
        self.choices = [input_choices(trial, state.name, self._random) for state in trial.states]
        """For each state, input valuations that it can tell apart."""
        self._names = [variable.name for variable in trial.variables]
        self._number_of: dict[tuple[int, ...], int] = {}
        """State and variables (counters only roughly) to the number of the moment."""
        self._moments: list[tuple[int, ...]] = []
        self._parents: list[int] = []
        self._ticks: list[int] = []
        self._rows: list[int] = []
        self._inputs: list[tuple[int, ...]] = []
        self._places: dict[Region, _Place] = {}
        self.rows_taken: set[int] = set()

    def explore(
        self, limits: SearchLimits, begin: tuple[NDArray[np.int64], Columns] | None = None
    ) -> Corpus:
        """Return the corpus found until nothing new is found, or a limit is reached.

        The search begins after power-on, or at the given moments (states and variables).
        """
        self._begin(*(begin or self._power_on()))
        quiet = 0
        for _ in range(limits.rounds):
            known = len(self.rows_taken), len(self._places)
            batch = [place.waiting.pop() for place in self._places.values() if place.waiting]
            if not batch or len(self._moments) >= limits.moments:
                break
            self._expand(np.array(batch))
            if self._watcher is not None and self._watcher.satisfied:
                break
            quiet = quiet + 1 if known == (len(self.rows_taken), len(self._places)) else 0
            if quiet >= QUIET_ROUNDS and len(self.rows_taken) == len(self._trial.rows):
                break
        return self._corpus()

    def _power_on(self) -> tuple[NDArray[np.int64], Columns]:
        first = np.array([self._trial.index.states[self._trial.initial_state]])
        return first, {v.name: np.array([v.initial]) for v in self._trial.variables}

    def _begin(self, states: NDArray[np.int64], variables: Columns) -> None:
        table = np.column_stack([states, *(variables[name] for name in self._names)])
        distinct: dict[tuple[int, ...], int] = {}
        for place, key in enumerate(map(tuple, self._coarse(table).tolist())):
            distinct.setdefault(key, place)
        table = table[list(distinct.values())]
        self._number_of = {key: number for number, key in enumerate(distinct)}
        self._moments = [tuple(moment) for moment in table.tolist()]
        self._parents = [NO_PARENT] * len(table)
        self._ticks = [0] * len(table)
        self._rows = [NO_ROW] * len(table)
        self._inputs = [tuple(signal.low for signal in self._trial.inputs)] * len(table)
        if self._watcher is not None:
            self._watcher.begun(table[:, 0], self._columns(table))
        self._file(table, list(range(len(table))))

    def _expand(self, nodes: NDArray[np.int64]) -> None:
        """Hold each promising input valuation from each moment on."""
        table = self._table(nodes)
        regions = self._regions(table)
        counts = [len(self._places[region].inputs) for region in regions]
        lanes = np.repeat(np.arange(len(nodes)), counts)
        inputs = {name: np.empty(len(lanes), dtype=np.int64) for name in self.choices[0]}
        end = 0
        for region, count in zip(regions, counts, strict=True):
            begin, end = end, end + count
            for name, column in self.choices[region[0]].items():
                inputs[name][begin:end] = column[self._places[region].inputs]
        self._hold(nodes[lanes], table[lanes], inputs)

    def _hold(
        self,
        parents: NDArray[np.int64],
        table: NDArray[np.int64],
        inputs: dict[str, NDArray[np.int64]],
    ) -> None:
        """Tick with inputs held until the state is left or nothing changes any more."""
        for _ in range(LONGEST_HOLD):
            before = self._columns(table)
            ticked = self._machine.tick(table[:, 0], {**before, **inputs})
            ticks, after = self._holding.extend(before, ticked)
            reached = np.column_stack([ticked.states, *(after[name] for name in self._names)])
            sound = ticked.rows != NO_ROW
            self.rows_taken |= set(ticked.rows[sound].tolist())
            new = self._note(reached, np.flatnonzero(sound), parents, inputs, ticks, ticked.rows)
            if self._watcher is not None:
                numbers = self._exact_numbers(reached)
                values = {**before, **inputs}
                batch = Batch(parents, table[:, 0], values, ticked, ticks, after, numbers)
                self._watcher.held(batch)
            lanes, numbers = new
            goes_on = ticked.states[lanes] == table[lanes, 0]
            lanes, parents = lanes[goes_on], numbers[goes_on]
            if not len(lanes):
                return
            table, inputs = reached[lanes], selected(inputs, lanes)

    def _note(
        self,
        reached: NDArray[np.int64],
        lanes: NDArray[np.int64],
        parents: NDArray[np.int64],
        inputs: Columns,
        ticks: NDArray[np.int64],
        rows: NDArray[np.int64],
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Keep the new moments among those reached in some lanes; return lanes and numbers."""
        new_lanes, new_numbers = [], []
        keys = map(tuple, self._coarse(reached[lanes]).tolist())
        for lane, key in zip(lanes.tolist(), keys, strict=True):
            if key not in self._number_of:
                self._number_of[key] = len(self._moments)
                new_lanes.append(lane)
                new_numbers.append(len(self._moments))
                self._moments.append(tuple(reached[lane].tolist()))
                self._parents.append(int(parents[lane]))
                self._ticks.append(int(ticks[lane]))
                self._rows.append(int(rows[lane]))
                self._inputs.append(tuple(int(column[lane]) for column in inputs.values()))
        if new_lanes:
            self._file(reached[new_lanes], new_numbers)
        return np.array(new_lanes, dtype=np.int64), np.array(new_numbers, dtype=np.int64)

    def _exact_numbers(self, reached: NDArray[np.int64]) -> NDArray[np.int64]:
        numbers = []
        keys = map(tuple, self._coarse(reached).tolist())
        for key, moment in zip(keys, map(tuple, reached.tolist()), strict=True):
            number = self._number_of.get(key, UNKNOWN)
            exact = number != UNKNOWN and self._moments[number] == moment
            numbers.append(number if exact else UNKNOWN)
        return np.array(numbers, dtype=np.int64)

    def _file(self, table: NDArray[np.int64], numbers: list[int]) -> None:
        """Let new moments wait in their regions."""
        for region, number, moment in zip(self._regions(table), numbers, table, strict=True):
            if region not in self._places:
                self._places[region] = _Place(self._promising(moment))
            self._places[region].waiting.append(number)

    def _promising(self, moment: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return a few input valuations for each row that a moment can take."""
        choices = self.choices[int(moment[0])]
        count = len(next(iter(choices.values())))
        table = np.broadcast_to(moment, (count, len(moment)))
        ticked = self._machine.tick(table[:, 0], {**self._columns(table), **choices})
        order = self._random.permutation(count)
        found = []
        for row in np.unique(ticked.rows):
            found += order[ticked.rows[order] == row][:INPUTS_PER_ROW].tolist()
        return np.array(found, dtype=np.int64)

    def _regions(self, table: NDArray[np.int64]) -> list[Region]:
        booleans = self._booleans(self._columns(table), 0, {}, 0)
        bits = np.zeros((len(booleans) + 1, len(table)), dtype=bool)
        for k, boolean in enumerate(booleans):
            bits[k] = filled_boolean(boolean, len(table))
        packed = np.ascontiguousarray(np.packbits(bits, axis=0).T)
        return [(int(s), key.tobytes()) for s, key in zip(table[:, 0], packed, strict=True)]

    def _table(self, nodes: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return state and variables of moments, one row each."""
        return np.array([self._moments[node] for node in nodes.tolist()], dtype=np.int64)

    def _coarse(self, table: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return what tells moments apart, counters only roughly."""
        columns = self._holding.coarse(table[:, 0], self._columns(table))
        return np.column_stack([table[:, 0], *(columns[name] for name in self._names)])

    def _columns(self, table: NDArray[np.int64]) -> dict[str, NDArray[np.int64]]:
        return {name: table[:, k + 1] for k, name in enumerate(self._names)}

    def _corpus(self) -> Corpus:
        table = np.array(self._moments, dtype=np.int64)
        inputs = np.array(self._inputs, dtype=np.int64)
        return Corpus(
            states=table[:, 0],
            variables=self._columns(table),
            parents=np.array(self._parents, dtype=np.int64),
            inputs={name: inputs[:, k] for k, name in enumerate(self.choices[0])},
            ticks=np.array(self._ticks, dtype=np.int64),
            rows=np.array(self._rows, dtype=np.int64),
        )


def _variable_booleans(trial: Trial) -> list[Expression]:
    """Return the boolean variables and every comparison in a condition of variables only."""
    variables = {variable.name: variable for variable in trial.variables}
    found: dict[Expression, None] = {
        Reference(name): None for name, v in variables.items() if v.kind is Kind.BOOLEAN
    }
    for condition in trial.conditions:
        for part in walk(condition.expression):
            if isinstance(part, Binary) and part.operator in COMPARISONS:
                read = references(part)
                if read and read <= variables.keys():
                    found[part] = None
    return list(found)
