"""The tick of the reference semantics for many moments at once, with numpy.

A lane is one moment with the inputs that its next tick sees. The tests hold this machine to
:class:`gainwright.semantics.machine.ReferenceMachine`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.language.cube import cube
from gainwright.language.expression import Expression, Reference
from gainwright.language.model import Signal, Trial
from gainwright.semantics.array_code import ArrayCode, Columns, filled, filled_boolean

if TYPE_CHECKING:
    from numpy.typing import NDArray

NO_ROW = -1


@dataclass(frozen=True, slots=True)
class Ticked:
    """What one tick does in each lane."""

    rows: NDArray[np.int64]
    """Number of the row taken, in the order of the trial; ``NO_ROW`` if not exactly one holds.
    Then state and variables mean nothing."""
    states: NDArray[np.int64]
    variables: dict[str, NDArray[np.int64]]
    saturated: dict[str, NDArray[np.bool_]]
    """By variable: did the end of its range stand in the way?"""


_WORD = 63
"""Conditions in a word: the highest bit stays free for what no condition sets."""


class ArrayMachine:
    """Rows, new values and outputs of a trial for many lanes."""

    def __init__(self, trial: Trial, code: ArrayCode) -> None:
        """``code`` must have been made with the conditions of this trial."""
        self.trial = trial
        self._conditions = code.function([c.expression for c in code.conditions])
        index = trial.index.states
        self._targets = np.array([index[row.target] for row in trial.rows], dtype=np.int64)
        self._cube_tables(index)
        self._assignments = [_Assignment(v, trial, code) for v in trial.variables]
        self._outputs = [_OutputColumn(trial, output.name, code) for output in trial.outputs]

    def _cube_tables(self, index: dict[str, int]) -> None:
        trial = self.trial
        bits = trial.index.condition_bits
        most = max((len(rows) for rows in trial.rows_by_state.values()), default=0)
        shape = (len(trial.states), max(most, 1))
        words = len(trial.conditions) // _WORD + 1
        # A place without a row never holds: no condition is looked at, but one beyond the last is
        # wanted.
        self._masks = np.zeros((*shape, words), dtype=np.uint64)
        self._wanted = np.zeros((*shape, words), dtype=np.uint64)
        self._wanted[:, :, -1] = 1 << _WORD
        self._numbers = np.zeros(shape, dtype=np.int64)
        used = [0] * len(trial.states)
        for number, row in enumerate(trial.rows):
            state = index[row.source]
            place = used[state]
            used[state] += 1
            mask, wanted = cube(row, bits)
            self._masks[state, place] = _split(mask, words)
            self._wanted[state, place] = _split(wanted, words)
            self._numbers[state, place] = number

    def conditions(self, values: Columns, count: int) -> NDArray[np.uint64]:
        """Return all conditions as bits, the first of the trial lowest; shape (count, words)."""
        bits = np.zeros((count, self._masks.shape[-1]), dtype=np.uint64)
        for k, boolean in enumerate(self._conditions(values, 0, {}, 0)):
            bit = filled_boolean(boolean, count).astype(np.uint64) << np.uint64(k % _WORD)
            bits[:, k // _WORD] |= bit
        return bits

    def rows(self, states: NDArray[np.int64], bits: NDArray[np.uint64]) -> NDArray[np.int64]:
        """Return the number of the only row that holds, or ``NO_ROW``."""
        holds = ((bits[:, None] & self._masks[states]) == self._wanted[states]).all(axis=2)
        numbers = self._numbers[states, np.argmax(holds, axis=1)]
        return np.where(holds.sum(axis=1) == 1, numbers, NO_ROW)

    def tick(
        self,
        states: NDArray[np.int64],
        values: Columns,
        bits: NDArray[np.uint64] | None = None,
    ) -> Ticked:
        """Return the tick of each lane; ``values`` are variables and inputs.

        ``bits`` are the conditions, if they were computed already.
        """
        count = len(states)
        rows = self.rows(states, self.conditions(values, count) if bits is None else bits)
        wanted = {a.name: a.wanted(rows, values) for a in self._assignments}
        variables = {a.name: a.limited(wanted[a.name]) for a in self._assignments}
        saturated = {name: value != wanted[name] for name, value in variables.items()}
        return Ticked(rows, self._targets[rows], variables, saturated)

    def outputs(self, states: NDArray[np.int64], variables: Columns) -> dict[str, Any]:
        """Return the outputs of each lane."""
        return {column.name: column.compute(states, variables) for column in self._outputs}


class _Cases:
    """One value per lane, chosen among a few expressions by a key (row or state)."""

    def __init__(self, expressions: Sequence[Expression], code: ArrayCode) -> None:
        """``expressions[key]`` is the value for each key."""
        distinct = list(dict.fromkeys(expressions))
        self._choice = np.array([distinct.index(e) for e in expressions], dtype=np.int64)
        self._functions = [code.function([expression]) for expression in distinct]

    def compute(self, keys: NDArray[np.int64], values: Columns) -> NDArray[np.int64]:
        choice = self._choice[keys]
        result = np.zeros(len(keys), dtype=np.int64)
        for number, function in enumerate(self._functions):
            wanted = choice == number
            if wanted.any():
                computed = filled(function(values, 0, {}, 0)[0], len(keys))
                result = np.where(wanted, computed, result)
        return result


class _Assignment:
    """The new value of one variable."""

    def __init__(self, variable: Signal, trial: Trial, code: ArrayCode) -> None:
        self.name = variable.name
        self._low, self._high = variable.low, variable.high
        kept = Reference(variable.name)
        self._cases = _Cases([row.actions.get(self.name, kept) for row in trial.rows], code)

    def wanted(self, rows: NDArray[np.int64], values: Columns) -> NDArray[np.int64]:
        return self._cases.compute(rows, values)

    def limited(self, wanted: NDArray[np.int64]) -> NDArray[np.int64]:
        return np.clip(wanted, self._low, self._high)


class _OutputColumn:
    def __init__(self, trial: Trial, name: str, code: ArrayCode) -> None:
        self.name = name
        output = next(o for o in trial.outputs if o.name == name)
        self._cases = _Cases([state.value_of(output) for state in trial.states], code)

    def compute(self, states: NDArray[np.int64], variables: Columns) -> NDArray[np.int64]:
        return self._cases.compute(states, variables)


def _split(bits: int, words: int) -> list[int]:
    return [bits >> _WORD * word & (1 << _WORD) - 1 for word in range(words)]
