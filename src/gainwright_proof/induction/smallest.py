"""The smallest example at which a claim about a moment fails, the same for every solver."""

from __future__ import annotations

import z3

from gainwright.language.model import Kind, Signal, Variable
from gainwright.language.solver import solver_for
from gainwright_proof.induction.effort import Budget
from gainwright_proof.induction.question import Moment, Question
from gainwright_proof.induction.terms import StepTerms, number

EFFORT_S = 120.0
"""For all questions about one example."""


def smallest_example(
    terms: StepTerms, question: Question, state: str, effort_s: float
) -> Moment | None:
    """Return where the claim fails in a state, or None if it holds.

    Values are chosen one signal after the other, variables first, then inputs: the initial value
    or 0 if it will do, else the lowest. Raises OutOfEffortError.
    """
    formulas = [statement.formula for statement in question.assumptions]
    formulas.append(f"(not {question.claim.formula})")
    solver = solver_for("QF_BV")
    solver.add(terms.ranges, terms.state_range, *terms.parse(formulas))
    budget = Budget(EFFORT_S, effort_s)
    if not budget.satisfiable(solver):
        return None
    trial = terms.step.trial
    chosen = {signal.name: _choose(solver, terms, signal, budget) for signal in terms.signals}
    return Moment(
        state,
        {variable.name: chosen[variable.name] for variable in trial.variables},
        {signal.name: chosen[signal.name] for signal in trial.inputs},
    )


def _choose(solver: z3.Solver, terms: StepTerms, signal: Signal, budget: Budget) -> int:
    """Fix a signal to its preferred value among those that are left, and return it."""
    term = terms.constants[signal.name]
    preferred = signal.initial if isinstance(signal, Variable) else max(signal.low, 0)
    if signal.kind is Kind.BOOLEAN:
        wish = term if preferred else z3.Not(term)
        value = preferred if budget.satisfiable(solver, wish) else 1 - preferred
        solver.add(term if value else z3.Not(term))
        return value
    if budget.satisfiable(solver, term == preferred):
        value = preferred
    else:
        value = _lowest(solver, term, signal.low, budget)
    solver.add(term == value)
    return value


def _lowest(solver: z3.Solver, term: z3.ExprRef, low: int, budget: Budget) -> int:
    if not budget.satisfiable(solver):
        raise AssertionError("the example was satisfiable before")
    high = number(solver.model(), term)
    while low < high:
        middle = (low + high) // 2
        if budget.satisfiable(solver, term <= middle):
            high = middle
        else:
            low = middle + 1
    return low
