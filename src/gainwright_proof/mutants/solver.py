"""Compares a mutant with the original by a solver: for all values, reachable or not.

The original's tables are single-hit and its invariants hold; both are proved apart from this. So a
mutant whose tables are single-hit too, and whose ticks are the same wherever the invariants hold,
does the same as the original for ever (by induction over the ticks).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import z3

from gainwright.language.expression import Boolean
from gainwright.language.model import RequirementKind, Row, Trial
from gainwright_proof.induction.specialise import specialised
from gainwright_proof.induction.step import StepEncoding
from gainwright_proof.induction.terms import StepTerms
from gainwright_proof.mutants.mutant import Mutant


class Likeness(Enum):
    NOT_SINGLE_HIT = "not exactly one row holds for some values"
    SAME = "the same tick for all values"
    SAME_IF_REQUIREMENTS_HOLD = "the same tick wherever the requirements named hold"
    DIFFERENT = "another tick somewhere, perhaps not reachable"
    UNKNOWN = "the solver ran out of time"


@dataclass(frozen=True, slots=True)
class Comparison:
    likeness: Likeness
    states: tuple[str, ...] = ()
    """States whose table is not single-hit."""
    requirements: tuple[str, ...] = ()
    """Invariants that exclude every difference, in the order of the trial."""


class SolverCheck:
    """Compares mutants with one original."""

    def __init__(self, trial: Trial, limit_s: float) -> None:
        """No question to the solver takes longer than ``limit_s``."""
        self._trial = trial
        self._terms = StepTerms(StepEncoding(trial))
        self._limit_ms = round(limit_s * 1000)
        self._invariants = [r for r in trial.requirements if r.kind is RequirementKind.INVARIANT]

    def compare(self, mutant: Mutant) -> Comparison:
        """Return how the mutant's ticks differ from the original's."""
        changed = mutant.trial(self._trial)
        terms = StepTerms(StepEncoding(changed))
        needed: set[str] = set()
        for state in mutant.states:
            answer = self._not_single_hit(terms, changed.rows_by_state[state])
            if answer == z3.sat:
                return Comparison(Likeness.NOT_SINGLE_HIT, (state,))
            if answer == z3.unknown:
                return Comparison(Likeness.UNKNOWN)
        for state in mutant.states:
            excluded = self._excluded(state, terms, changed)
            if isinstance(excluded, Likeness):
                return Comparison(excluded)
            needed |= set(excluded)
        if not needed:
            return Comparison(Likeness.SAME)
        named = tuple(r.id for r in self._invariants if r.id in needed)
        return Comparison(Likeness.SAME_IF_REQUIREMENTS_HOLD, requirements=named)

    def _not_single_hit(self, terms: StepTerms, rows: Sequence[Row]) -> z3.CheckSatResult:
        guards = [terms.guard(row) for row in rows]
        return self._solver(z3.Not(z3.PbEq([(guard, 1) for guard in guards], 1))).check()

    def _excluded(self, state: str, terms: StepTerms, changed: Trial) -> Likeness | list[str]:
        """Return the invariants that exclude a difference in a state, or why there are none."""
        difference = self._difference(state, terms, changed)
        solver = self._solver(difference)
        facts = self._facts(state)
        switches = {z3.Bool(f"requirement.{name}"): fact for name, fact in facts}
        for switch, fact in switches.items():
            solver.add(z3.Implies(switch, fact))
        answer = solver.check(*switches)
        if answer == z3.sat:
            return Likeness.DIFFERENT
        if answer == z3.unknown:
            return Likeness.UNKNOWN
        names = {str(switch).removeprefix("requirement.") for switch in solver.unsat_core()}
        return [name for name, _ in facts if name in names]

    def _facts(self, state: str) -> list[tuple[str, z3.BoolRef]]:
        found = [(r.id, specialised(r.formula, state, self._trial)) for r in self._invariants]
        found = [(name, fact) for name, fact in found if not isinstance(fact, Boolean)]
        formulas = self._terms.formulas([fact for _, fact in found])
        return [(name, term) for (name, _), term in zip(found, formulas, strict=True)]

    def _difference(self, state: str, terms: StepTerms, changed: Trial) -> z3.BoolRef:
        """Return where both trials take a row in a state, and the rows do different things."""
        cases = []
        for row in self._trial.rows_by_state[state]:
            for other in changed.rows_by_state[state]:
                different = self._effects_differ(row, terms, other)
                cases.append(z3.And(self._terms.guard(row), terms.guard(other), different))
        return z3.simplify(z3.Or(*cases))

    def _effects_differ(self, row: Row, terms: StepTerms, other: Row) -> z3.BoolRef:
        if row.target != other.target:
            return z3.BoolVal(True)
        mine, theirs = self._terms.assigned(row), terms.assigned(other)
        names = [v.name for v in self._trial.variables if v.name in mine or v.name in theirs]
        before = self._terms.constants
        return z3.Or(
            *(mine.get(name, before[name]) != theirs.get(name, before[name]) for name in names)
        )

    def _solver(self, *formulas: z3.BoolRef) -> z3.Solver:
        solver = z3.SolverFor("QF_BV")
        solver.set("timeout", self._limit_ms)
        solver.set("core.minimize", True)
        solver.add(self._terms.ranges, *formulas)
        return solver
