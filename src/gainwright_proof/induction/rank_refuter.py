"""Tries ranks on all moments and ticks at once, with z3."""

from __future__ import annotations

from collections.abc import Iterator

import z3

from gainwright.language.expression import references
from gainwright.language.model import Row, Trial
from gainwright_proof.induction.deadline import Course, CourseFinder, Deadline
from gainwright_proof.induction.fast_machine import Values
from gainwright_proof.induction.fresh_solvers import FreshSolvers
from gainwright_proof.induction.ranking import Feature, Ranks, StateRank, Term
from gainwright_proof.induction.sifting import SiftedTick
from gainwright_proof.induction.terms import StepTerms, number


class RankRefuter:
    """Finds where ranks fail on the course of one deadline."""

    def __init__(
        self,
        trial: Trial,
        terms: StepTerms,
        finder: CourseFinder,
        deadline: Deadline,
        course: Course,
        solvers: FreshSolvers,
    ) -> None:
        """Each method raises OutOfEffortError where the solvers' budget does not suffice."""
        self._trial = trial
        self._terms = terms
        self._finder = finder
        self._course = course
        self._pending = finder.pending(deadline)
        self._solvers = solvers
        self._feature_terms: dict[Feature, z3.BitVecRef] = {}
        self._passed: dict[tuple[str, tuple[Term, ...], tuple[Term, ...]], int] = {}
        """By row and terms before and after: the least fall of the constant that was enough."""

    def starts_above(self, greatest: int, ranks: Ranks) -> Iterator[tuple[str, Values]]:
        """Yield moments from which the time counts and whose rank is above the greatest."""
        for start in self._course.starts:
            rank = self._rank(ranks[start.state])
            if start.row is not None:
                (rank,) = self._terms.after(start.row, [rank])
            model = self._solvers.model([*start.premise, rank > greatest])
            if model is not None:
                yield start.state, self._variables(model, start.row)

    def not_positive(self, ranks: Ranks) -> Iterator[tuple[str, Values]]:
        """Yield moments at which the goal is not reached, but the rank is below 1."""
        for state in self._course.states:
            here = [*self._finder.moment(state), self._pending[state]]
            model = self._solvers.model([*here, self._rank(ranks[state]) < 1])
            if model is not None:
                yield state, self._variables(model, None)

    def not_falling(self, ranks: Ranks) -> Iterator[SiftedTick]:
        """Yield ticks over which the goal is not reached and the rank does not fall."""
        for row in self._course.rows:
            before, after = ranks[row.source], ranks[row.target]
            key, fall = (row.id, before.terms, after.terms), before.constant - after.constant
            if fall >= self._passed.get(key, fall + 1):
                continue
            (still,) = self._terms.after(row, [self._pending[row.target]])
            premise = [*self._finder.premise(row), self._pending[row.source], still]
            model = self._solvers.model([*premise, self._fall(row, ranks) < 1])
            if model is None:
                self._passed[key] = fall
                continue
            constants = self._terms.constants
            inputs = {s.name: number(model, constants[s.name]) for s in self._trial.inputs}
            values = self._variables(model, None), self._variables(model, row)
            yield SiftedTick(row, values[0], inputs, values[1])

    def _feature(self, feature: Feature) -> z3.BitVecRef:
        if feature not in self._feature_terms:
            (self._feature_terms[feature],) = self._terms.integers([feature.expression])
        return self._feature_terms[feature]

    def _rank(self, rank: StateRank) -> z3.BitVecRef:
        total: z3.BitVecRef = z3.BitVecVal(rank.constant, 32)
        for term in rank.terms:
            total = total + term.factor * self._feature(term.feature)
        return total

    def _fall(self, row: Row, ranks: Ranks) -> z3.BitVecRef:
        """Return by how much the rank falls; what the row does not change cancels out.

        For the search only: the obligations compare the two ranks themselves.
        """
        before, after = ranks[row.source], ranks[row.target]
        total: z3.BitVecRef = z3.BitVecVal(before.constant - after.constant, 32)
        for feature in dict.fromkeys(term.feature for term in (*before.terms, *after.terms)):
            first, second = before.factor(feature), after.factor(feature)
            here = self._feature(feature)
            if references(feature.expression).isdisjoint(row.actions):
                if first != second:
                    total = total + (first - second) * here
                continue
            (there,) = self._terms.after(row, [here])
            if first == second:
                total = total + first * (here - there)
            else:
                total = total + first * here - second * there
        return total

    def _variables(self, model: z3.ModelRef, row: Row | None) -> Values:
        """Return the variables of a model, before the tick or after a row."""
        assigned = {} if row is None else self._terms.assigned(row)
        return {
            v.name: number(model, assigned.get(v.name, self._terms.constants[v.name]))
            for v in self._trial.variables
        }
