"""Bounded model checking: the shortest run from power-on that violates a requirement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import z3

from gainwright.language.model import Kind, Signal
from gainwright.language.solver import solver_for
from gainwright_proof.induction.deadline import Deadline
from gainwright_proof.induction.effort import Budget, OutOfEffortError
from gainwright_proof.induction.question import Question
from gainwright_proof.induction.step import StepEncoding, sort
from gainwright_proof.induction.terms import StepTerms, free_constant, number
from gainwright_proof.induction.text import negation

Inputs = dict[str, int]


@dataclass(frozen=True, slots=True)
class Violation:
    """A pattern over consecutive moments that must not occur."""

    subject: str
    parts: tuple[tuple[int, z3.BoolRef], ...]
    """Offset in ticks from the first moment, and what holds there."""
    span: int
    """Ticks from the first moment to the last."""
    over_tick: bool = False
    """True if the last part is about the tick that follows its moment."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What unrolling found."""

    violations: Mapping[str, list[Inputs]]
    """Subject of a violation to the inputs of a shortest run that shows it."""
    depth: int
    """No other violation occurs in a run of up to so many ticks; -1 if nothing is known."""


def question_violation(terms: StepTerms, subject: str, question: Question) -> Violation:
    """Return that the claim of a question fails."""
    formulas = [statement.formula for statement in question.assumptions]
    formulas.append(negation(question.claim.formula))
    failure = z3.And(terms.parse(formulas, question.definitions))
    return Violation(subject, ((0, failure),), 0, question.over_tick)


def deadline_violation(terms: StepTerms, deadline: Deadline) -> Violation | None:
    """Return that the goal of a deadline is not reached in time; None if it has no time."""
    within = deadline.within_ticks
    if within is None:
        return None
    step = terms.step
    trigger, pending = terms.parse(
        [step.formula(deadline.trigger), negation(step.formula(deadline.goal))]
    )
    first = 1 if deadline.trigger_over_tick else 0
    waiting = tuple((offset, pending) for offset in range(first, within + 1))
    return Violation(deadline.subject, ((0, trigger), *waiting), within)


class Unrolling:
    """Ticks from power-on, one after the other, in one solver."""

    def __init__(self, step: StepEncoding, terms: StepTerms) -> None:
        self._step = step
        self._terms = terms
        self._next_state, self._one_row, self._next = self._relation()
        self._solver = solver_for("QF_BV")
        self._moments: list[dict[str, z3.ExprRef]] = []
        self._inputs: list[dict[str, z3.ExprRef]] = []

    def search(self, violations: Sequence[Violation], depth: int, effort_s: float) -> Outcome:
        """Look for runs of up to ``depth`` ticks as long as the effort lasts."""
        budget = Budget(effort_s)
        found: dict[str, list[Inputs]] = {}
        self._begin()
        for ticks in range(depth + 1):
            self._add_inputs(ticks)
            for violation in violations:
                if violation.subject in found or violation.span > ticks:
                    continue
                try:
                    inputs = self._inputs_of(violation, ticks, budget)
                except OutOfEffortError:
                    return Outcome(found, ticks - 1)
                if inputs is not None:
                    found[violation.subject] = inputs
            if len(found) == len(violations):
                return Outcome(found, ticks)
            self._add_tick(ticks)
        return Outcome(found, depth)

    def _relation(self) -> tuple[z3.BitVecRef, z3.BoolRef, dict[str, z3.ExprRef]]:
        """Return the next state, that one row holds, and next values, all by the moment before."""
        step, terms = self._step, self._terms
        variables = step.trial.variables
        state, *values = terms.values(
            [
                (step.state(after=True), step.state_sort),
                *((step.value(v.name, True), sort(v)) for v in variables),
            ]
        )
        (one_row,) = terms.parse([step.one_row])
        return state, one_row, {v.name: value for v, value in zip(variables, values, strict=True)}

    def _begin(self) -> None:
        trial = self._step.trial
        first = self._new_moment()
        self._solver.add(first[_STATE] == trial.index.states[trial.initial_state])
        for variable in trial.variables:
            term = first[variable.name]
            boolean = variable.kind is Kind.BOOLEAN
            self._solver.add(term == (bool(variable.initial) if boolean else variable.initial))

    def _new_moment(self) -> dict[str, z3.ExprRef]:
        number_of = len(self._moments)
        moment: dict[str, z3.ExprRef] = {
            _STATE: z3.BitVec(f"moment{number_of}.state", self._step.state_bits)
        }
        for variable in self._step.trial.variables:
            moment[variable.name] = free_constant(f"moment{number_of}.{variable.name}", variable)
        self._moments.append(moment)
        return moment

    def _add_inputs(self, tick: int) -> None:
        """Add the inputs of a tick, within their ranges."""
        trial = self._step.trial
        self._inputs.append(
            {s.name: free_constant(f"tick{tick}.{s.name}", s) for s in trial.inputs}
        )
        self._solver.add(self._at(self._terms.ranges, tick))

    def _add_tick(self, tick: int) -> None:
        """Add that a tick takes one row and leads to the next moment."""
        after = self._new_moment()
        self._solver.add(self._at(self._one_row, tick))
        self._solver.add(after[_STATE] == self._at(self._next_state, tick))
        for name, value in self._next.items():
            self._solver.add(after[name] == self._at(value, tick))

    def _at(self, term: z3.ExprRef, tick: int) -> z3.ExprRef:
        return z3.substitute(term, *self._renaming(tick))

    def _renaming(self, tick: int) -> list[tuple[z3.ExprRef, z3.ExprRef]]:
        moment, inputs, constants = self._moments[tick], self._inputs[tick], self._terms.constants
        return [
            (self._terms.state, moment[_STATE]),
            *((constants[v.name], moment[v.name]) for v in self._step.trial.variables),
            *((constants[name], term) for name, term in inputs.items()),
        ]

    def _inputs_of(self, violation: Violation, ticks: int, budget: Budget) -> list[Inputs] | None:
        """Return the inputs of a run with the violation at its end, after so many ticks."""
        first = ticks - violation.span
        self._solver.push()
        for offset, term in violation.parts:
            self._solver.add(self._at(term, first + offset))
        if violation.over_tick:
            self._solver.add(self._at(self._one_row, ticks))
        try:
            if not budget.satisfiable(self._solver):
                return None
            return [self._least_inputs(tick, budget) for tick in range(ticks + violation.over_tick)]
        finally:
            self._solver.pop()

    def _least_inputs(self, tick: int, budget: Budget) -> Inputs:
        """Fix the inputs of a tick, each as low as can be."""
        chosen = {}
        for signal in self._step.trial.inputs:
            chosen[signal.name] = self._least(self._inputs[tick][signal.name], signal, budget)
        return chosen

    def _least(self, term: z3.ExprRef, signal: Signal, budget: Budget) -> int:
        if signal.kind is Kind.BOOLEAN:
            value = 0 if budget.satisfiable(self._solver, z3.Not(term)) else 1
            self._solver.add(term if value else z3.Not(term))
            return value
        assert budget.satisfiable(self._solver)
        low, high = signal.low, number(self._solver.model(), term)
        while low < high:
            middle = (low + high) // 2
            if budget.satisfiable(self._solver, term <= middle):
                high = middle
            else:
                low = middle + 1
        self._solver.add(term == low)
        return low


_STATE = "state of the trial"
"""Key of the state among variables; no variable is named so."""
