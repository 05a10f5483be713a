"""Which requirements a tick breaks, for many ticks at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainwright.language.expression import Boolean, Expression
from gainwright.language.model import Requirement, RequirementKind, Trial
from gainwright_proof.mutants.array_code import ArrayCode, Columns, filled_boolean

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Ticks:
    """Ticks with what was before and after each; outputs are among the values."""

    states_before: NDArray[np.int64]
    before: Columns
    """Variables, outputs and inputs."""
    states_after: NDArray[np.int64]
    after: Columns
    """Variables and outputs."""


class Judge:
    """Judges ticks by the requirements that one tick can break, and moments by their formulas."""

    def __init__(self, trial: Trial, code: ArrayCode) -> None:
        """``code`` is that of the trial judged: requirements read its conditions."""
        kinds = RequirementKind
        self._steps = [r for r in trial.requirements if r.kind is kinds.STEP]
        self._invariants = [r for r in trial.requirements if r.kind is kinds.INVARIANT]
        self._at_once = [
            r for r in trial.requirements if r.kind is kinds.RESPONSE and r.within_ticks == 1
        ]
        self.responses = [r for r in trial.requirements if r.kind is kinds.RESPONSE]
        self.bounded = [r for r in trial.requirements if r.kind is kinds.BOUNDED]
        self.reachable = [r for r in trial.requirements if r.kind is kinds.REACHABLE]
        self._over_ticks = code.function(
            [*(r.formula for r in self._steps), *(_trigger(r) for r in self._at_once)]
        )
        self._at_moments = code.function([r.formula for r in (*self._invariants, *self._at_once)])
        self._code = code

    def broken(self, ticks: Ticks) -> dict[str, int]:
        """Return the requirements broken by some tick, each with the first such tick."""
        count = len(ticks.states_before)
        over = self._over_ticks(ticks.before, ticks.states_before, ticks.after, ticks.states_after)
        at = self._at_moments(ticks.after, ticks.states_after, {}, 0)
        steps, triggers = over[: len(self._steps)], over[len(self._steps) :]
        holds = dict(zip((r.id for r in self._steps), steps, strict=True))
        holds |= zip((r.id for r in self._invariants), at, strict=False)
        for requirement, triggered, answered in zip(
            self._at_once, triggers, at[len(self._invariants) :], strict=True
        ):
            holds[requirement.id] = np.logical_or(np.logical_not(triggered), answered)
        found = {}
        for name, boolean in holds.items():
            wrong = np.flatnonzero(~filled_boolean(boolean, count))
            if len(wrong):
                found[name] = int(wrong[0])
        return found

    def broken_at(self, states: NDArray[np.int64], values: Columns) -> list[str]:
        """Return the invariants broken at some moment; values are variables and outputs."""
        at = self._at_moments(values, states, {}, 0)
        return [
            requirement.id
            for requirement, boolean in zip(self._invariants, at, strict=False)
            if not filled_boolean(boolean, len(states)).all()
        ]

    def formula_at(
        self, requirement: Requirement, states: NDArray[np.int64], values: Columns
    ) -> NDArray[np.bool_]:
        """Return where the formula of a requirement holds, over moments."""
        function = self._code.function([requirement.formula])
        return filled_boolean(function(values, states, {}, 0)[0], len(states))

    def trigger_at(
        self, requirement: Requirement, states: NDArray[np.int64], values: Columns
    ) -> NDArray[np.bool_]:
        """Return where the trigger of a bounded requirement holds, over moments."""
        function = self._code.function([_trigger(requirement)])
        return filled_boolean(function(values, states, {}, 0)[0], len(states))

    def triggered_over(self, requirement: Requirement, ticks: Ticks) -> NDArray[np.bool_]:
        """Return where the trigger of a response holds, over ticks."""
        function = self._code.function([_trigger(requirement)])
        boolean = function(ticks.before, ticks.states_before, ticks.after, ticks.states_after)[0]
        return filled_boolean(boolean, len(ticks.states_before))


def _trigger(requirement: Requirement) -> Expression:
    return requirement.trigger or Boolean(True)
