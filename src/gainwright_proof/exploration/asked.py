"""What the explorer asks of moments and ticks, against the requirements as they are written.

The search asks of a row only what is left of a requirement once all that is known of the row is put
in (:mod:`rewrite`, :mod:`specialise`), as C. If that says too little, a requirement is proved that
is false, and no other state or input would show it. So the same questions are put at moments drawn
from all that the ranges allow, reachable or not, where requirements fail in many ways, and the
answers are held against the formulas of the file, computed by the reference semantics.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.language.critical_values import constants, values_near
from gainwright.language.expression import Boolean, Expression
from gainwright.language.model import Requirement, RequirementKind, Signal, Trial
from gainwright.semantics.array_code import ArrayCode, filled_boolean
from gainwright.semantics.array_machine import ArrayMachine
from gainwright_proof.exploration.engine import Engine

if TYPE_CHECKING:
    from numpy.typing import NDArray

SEED = 20_261_128
_LANES = 3_000
"""Moments drawn in each state."""
_KEPT = 0.9
"""Share of the inputs that are those of one vector of the search, so that all rows are taken."""


class Asked:
    """Puts the questions of one search at drawn moments."""

    def __init__(self, trial: Trial, engine: Engine) -> None:
        self._trial, self._engine = trial, engine
        self._code = ArrayCode(trial)
        self._machine = ArrayMachine(trial, self._code)
        self._random = np.random.default_rng(SEED)
        formulas = [r.formula for r in trial.requirements]
        literals = constants([*formulas, *(c.expression for c in trial.conditions)])
        self._values = {
            signal.name: np.array(values_near(signal, literals), dtype=np.int64)
            for signal in (*trial.inputs, *trial.variables)
        }
        self.moments = 0
        self._outcomes: dict[str, set[bool]] = {r.id: set() for r in trial.requirements}

    @property
    def told_apart(self) -> int:
        """Requirements of which some moments or ticks hold and others do not."""
        return sum(len(outcomes) == 2 for outcomes in self._outcomes.values())

    def first_difference(self) -> str:
        """Return a sentence on a question that is answered otherwise; empty if there is none."""
        for state in range(len(self._trial.states)):
            if text := self._compared(state):
                return text
        return ""

    def _compared(self, state: int) -> str:
        trial, machine = self._trial, self._machine
        states = np.full(_LANES, state, dtype=np.int64)
        variables = {v.name: self._drawn(v) for v in trial.variables}
        inputs = self._inputs(state)
        self.moments += _LANES
        before = {**variables, **inputs, **machine.outputs(states, variables)}
        ticked = machine.tick(states, before)
        taken = ticked.rows >= 0
        after = {**ticked.variables, **machine.outputs(ticked.states, ticked.variables)}
        noted, holds = self._engine.ask_moments(
            states, self._columns(trial.variables, variables), self._columns(trial.outputs, before)
        )
        over = self._engine.ask_ticks(
            np.where(taken, ticked.rows, 0), self._columns(trial.inputs, inputs),
            self._columns(trial.variables, variables),
            self._columns(trial.variables, ticked.variables),
        )  # fmt: skip

        def value(formula: Expression, at_end: bool = False) -> NDArray[np.bool_]:
            here = (after, ticked.states) if at_end else (before, states)
            (found,) = self._code.function([formula])(*here, after, ticked.states)
            return filled_boolean(found, _LANES)

        for number, requirement in enumerate(trial.requirements):
            for what, wanted, given, counts in _questions(
                number, requirement, value, noted, holds, over, taken
            ):
                self._outcomes[requirement.id] |= set(np.unique(wanted[counts]).tolist())
                different = counts & (wanted != given)
                if different.any():
                    lane = int(np.argmax(different))
                    return self._difference_in_words(requirement, what, state, before, lane)
        return ""

    def _drawn(self, signal: Signal) -> NDArray[np.int64]:
        """Draw values of which half are those that something is compared with."""
        anything = self._random.integers(signal.low, signal.high, _LANES, endpoint=True)
        near = self._random.choice(self._values[signal.name], _LANES)
        return np.where(self._random.random(_LANES) < 0.5, near, anything)

    def _inputs(self, state: int) -> dict[str, NDArray[np.int64]]:
        signals = self._trial.inputs
        vectors = np.array(self._engine.vectors_by_state[state].vectors, dtype=np.int64)
        chosen = vectors[self._random.integers(0, len(vectors), _LANES)]
        return {
            signal.name: np.where(
                self._random.random(_LANES) < _KEPT, chosen[:, k], self._drawn(signal)
            )
            for k, signal in enumerate(signals)
        }

    @staticmethod
    def _columns(signals: Sequence[Signal], values: Any) -> NDArray[np.int32]:
        columns = [values[signal.name] for signal in signals] or [np.zeros(_LANES)]
        return np.stack(columns, axis=1).astype(np.int32)

    def _difference_in_words(
        self, requirement: Requirement, what: str, state: int, values: Any, lane: int
    ) -> str:
        signals = (*self._trial.variables, *self._trial.inputs)
        given = ", ".join(f"{s.name} = {int(values[s.name][lane])}" for s in signals)
        name = self._trial.states[state].name
        return (
            f"The {what} of {requirement.id} is asked otherwise than written, in {name}: {given}."
        )


def _questions(
    number: int,
    requirement: Requirement,
    value: Any,
    noted: NDArray[np.uint8],
    holds: NDArray[np.uint8],
    over: NDArray[np.uint8],
    taken: NDArray[np.bool_],
) -> Iterator[tuple[str, NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]]:
    """Yield what is asked, what it should come to, what the explorer says, and where it counts."""
    always = np.ones(len(taken), dtype=bool)
    trigger = requirement.trigger or Boolean(True)
    match requirement.kind:
        case RequirementKind.INVARIANT:
            yield "formula", value(requirement.formula), noted[:, number] == 0, always
        case RequirementKind.REACHABLE:
            yield "formula", value(requirement.formula), noted[:, number] == 1, always
        case RequirementKind.STEP:
            yield "formula", value(requirement.formula), over[:, number] == 0, taken
        case RequirementKind.RESPONSE:
            begun = value(trigger) & ~value(requirement.formula, at_end=True)
            yield "trigger", begun, over[:, number] == 1, taken
            yield "formula", value(requirement.formula), holds[:, 2 * number] == 1, always
        case RequirementKind.INITIAL | RequirementKind.BOUNDED:
            yield "formula", value(requirement.formula), holds[:, 2 * number] == 1, always
            if requirement.kind is RequirementKind.BOUNDED:
                yield "trigger", value(trigger), holds[:, 2 * number + 1] == 1, always
