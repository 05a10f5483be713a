"""Questions of time: from where on, until what, through which states, within how many ticks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import z3

from gainwright.language.expression import Expression, InState
from gainwright.language.model import Requirement, RequirementKind, Row, Trial
from gainwright_proof.exploration.subjects import WHOLE_TRIAL
from gainwright_proof.induction.fresh_solvers import FreshSolvers
from gainwright_proof.induction.induction import Facts
from gainwright_proof.induction.specialise import negated, specialised
from gainwright_proof.induction.terms import StepTerms

_ENDS = "trial/ends"
"""Where the obligations are found that a trial cannot stay away from its end states for ever.

It is reported where it can be shown; a trial that must end says so in a requirement.
"""


@dataclass(frozen=True, slots=True)
class Deadline:
    """From ``trigger`` on, ``goal`` is reached within some ticks."""

    subject: str
    """Id of the requirement, or :data:`WHOLE_TRIAL`."""
    sentence: str
    trigger: Expression
    goal: Expression
    """An invariant formula."""
    trigger_over_tick: bool
    """True if the trigger holds over a tick, which is then the first that counts."""
    within_ticks: int | None
    """None: as short as can be shown."""

    def ticks(self, greatest_rank: int) -> int:
        """Return the ticks that a greatest rank allows; a tick that triggers is the first."""
        return greatest_rank + self.trigger_over_tick

    @property
    def obligations(self) -> str:
        """Where its obligations are found, by name."""
        return _ENDS if self.subject == WHOLE_TRIAL else f"requirement/{self.subject}"


def requirement_deadline(requirement: Requirement) -> Deadline | None:
    """Return the question of time that a requirement asks; None if it asks none."""
    if requirement.kind not in (RequirementKind.BOUNDED, RequirementKind.RESPONSE):
        return None
    assert requirement.trigger is not None
    return Deadline(
        requirement.id,
        requirement.sentence,
        requirement.trigger,
        requirement.formula,
        requirement.kind is RequirementKind.RESPONSE,
        requirement.within_ticks,
    )


def whole_trial_deadline(trial: Trial) -> Deadline | None:
    """Return whether and when a trial ends whatever the inputs do; None if it only has ends."""
    ends = tuple(state.name for state in trial.states if state.end)
    if len(ends) in (0, len(trial.states)):
        return None
    at_end = InState(ends)
    return Deadline(
        WHOLE_TRIAL,
        "Whatever the inputs do, a trial that was started comes to an end state.",
        negated(at_end),
        at_end,
        trigger_over_tick=False,
        within_ticks=None,
    )


@dataclass(frozen=True, slots=True)
class Start:
    """A way into the course."""

    state: str
    premise: list[z3.BoolRef]
    """What is known there, over the variables before the row, if there is one."""
    row: Row | None
    """For a trigger over a tick: the row that the tick takes."""


@dataclass(frozen=True, slots=True)
class Course:
    """The states through which a trial can go on its way to the goal, and the rows between."""

    starts: tuple[Start, ...]
    states: tuple[str, ...]
    rows: tuple[Row, ...]
    """Rows after which the goal need not be reached yet."""


class CourseFinder:
    """Finds courses with the help of facts about the states."""

    def __init__(self, trial: Trial, terms: StepTerms, facts: Facts) -> None:
        self._trial = trial
        self._terms = terms
        self._facts: Mapping[str, Sequence[z3.BoolRef]] = {
            state.name: terms.formulas(facts.get(state.name, ())) for state in trial.states
        }

    def course(self, deadline: Deadline, solvers: FreshSolvers) -> Course:
        """Return the states and rows between trigger and goal; raises OutOfEffortError."""
        pending = self.pending(deadline)
        starts = self._starts(deadline, pending, solvers)
        states = dict.fromkeys(start.state for start in starts)
        waiting = list(states)
        rows = []
        while waiting:
            state = waiting.pop(0)
            for row in self._trial.rows_by_state[state]:
                if self._possible(row, pending, solvers):
                    rows.append(row)
                    if row.target not in states:
                        states[row.target] = None
                        waiting.append(row.target)
        order = [state.name for state in self._trial.states if state.name in states]
        return Course(tuple(starts), tuple(order), tuple(rows))

    def pending(self, deadline: Deadline) -> dict[str, z3.BoolRef]:
        """Return, for each state, that the goal is not reached, over the variables before."""
        denials = [
            negated(specialised(deadline.goal, state.name, self._trial))
            for state in self._trial.states
        ]
        names = [state.name for state in self._trial.states]
        return dict(zip(names, self._terms.formulas(denials), strict=True))

    def moment(self, state: str) -> list[z3.BoolRef]:
        """Return that all facts about a state hold."""
        return [self._terms.ranges, *self._facts[state]]

    def premise(self, row: Row) -> list[z3.BoolRef]:
        """Return that a row is taken at a moment where all facts hold."""
        return [*self.moment(row.source), self._terms.guard(row)]

    def _starts(
        self, deadline: Deadline, pending: Mapping[str, z3.BoolRef], solvers: FreshSolvers
    ) -> list[Start]:
        """Return where the time begins to count with the goal not reached."""
        if deadline.trigger_over_tick:
            return self._starts_after_tick(deadline, pending, solvers)
        names = [state.name for state in self._trial.states]
        triggers = self._terms.formulas(
            specialised(deadline.trigger, name, self._trial) for name in names
        )
        starts = [
            Start(name, [*self.moment(name), trigger, pending[name]], None)
            for name, trigger in zip(names, triggers, strict=True)
        ]
        return [start for start in starts if solvers.model(start.premise) is not None]

    def _starts_after_tick(
        self, deadline: Deadline, pending: Mapping[str, z3.BoolRef], solvers: FreshSolvers
    ) -> list[Start]:
        step = self._terms.step
        (trigger,) = self._terms.parse([step.formula(deadline.trigger)])
        found = []
        for row in self._trial.rows:
            code = self._trial.index.states[row.source]
            known = z3.substitute(trigger, (self._terms.state, z3.BitVecVal(code, step.state_bits)))
            after = self._terms.after(row, [pending[row.target]])
            start = Start(row.target, [*self.premise(row), known, *after], row)
            if solvers.model(start.premise) is not None:
                found.append(start)
        return found

    def _possible(self, row: Row, pending: Mapping[str, z3.BoolRef], solvers: FreshSolvers) -> bool:
        """Return whether the row can be taken, so that the goal is not reached before or after."""
        after = self._terms.after(row, [pending[row.target]])
        taken = [*self.premise(row), pending[row.source], *after]
        return solvers.model(taken) is not None
