"""Finds ranks: fitted to ticks that are known, tried on all by z3, fitted again to what fails."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import z3

from gainwright.proof.smt.deadline import Course, CourseFinder, Deadline
from gainwright.proof.smt.fast_machine import Values
from gainwright.proof.smt.induction import Facts
from gainwright.proof.smt.rank_fit import NoRankError, RankFit
from gainwright.proof.smt.ranking import Detail, Ranks, features, free_variables
from gainwright.proof.smt.sifting import SiftedTick, Sifter
from gainwright.proof.smt.specialise import negated, specialised
from gainwright.proof.smt.switchboard import OutOfTimeError
from gainwright.proof.smt.terms import StepTerms, number
from gainwright.semantics.python_code import Check, CodeWriter
from gainwright.spec.model import Row, Trial

MOST_ROUNDS = 40


@dataclass(frozen=True, slots=True)
class Ranking:
    """Ranks that fall along a course, and the greatest with which it can begin."""

    course: Course
    greatest: int
    """At the moment that triggers; for a trigger over a tick: at the moment after it."""
    ranks: Ranks


class RankSearch:
    """Looks for the ranks of one deadline."""

    def __init__(
        self,
        trial: Trial,
        terms: StepTerms,
        finder: CourseFinder,
        sifter: Sifter,
        facts: Facts,
        deadline: Deadline,
        limit_s: float,
    ) -> None:
        """``sifter`` has run with the facts established; raises OutOfTimeError."""
        self._trial = trial
        self._terms = terms
        self._finder = finder
        self._sifter = sifter
        self._deadline = deadline
        self._limit_s = limit_s
        self._course = finder.course(deadline)
        self._pending = finder.pending(deadline)
        self._is_pending = self._judge_pending()
        self._free = {
            state: free_variables(trial, facts.get(state, ())) for state in self._course.states
        }
        self._fit = RankFit({})

    def ranking(self, others: Iterable[Ranking]) -> Ranking:
        """Return ranks; raises NoRankError if none of this form do, OutOfTimeError.

        ``others`` are rankings of other deadlines, one of which may do if no time is given.
        """
        if not self._course.states:
            return Ranking(self._course, 0, {})
        if self._deadline.within_ticks is None:
            for other in others:
                if self._serves(other):
                    return Ranking(self._course, other.greatest, other.ranks)
        within = self._deadline.within_ticks
        details = [Detail.STEPS] if within is None else list(Detail)
        for detail in details:
            try:
                return self._ranking(detail)
            except NoRankError:
                if detail is details[-1]:
                    raise
        raise NoRankError

    def _serves(self, other: Ranking) -> bool:
        return set(self._course.states) <= other.ranks.keys() and not self._refuted(
            other.greatest, other.ranks
        )

    def _ranking(self, detail: Detail) -> Ranking:
        self._fit = RankFit(
            {
                state: features(self._trial, detail, self._free[state])
                for state in self._course.states
            }
        )
        for tick in self._sifter.ticks.values():
            self._learn(tick)
        self._learn_starts()
        exact = False
        for _ in range(MOST_ROUNDS):
            least = self._fit.least_greatest()
            if detail is not Detail.STEPS and least > self._wanted + 0.5:
                raise NoRankError
            greatest, ranks = self._fit.fit(least, exact)
            if not all(rank.fits for rank in ranks.values()):
                raise NoRankError
            size = self._fit.size
            if not self._refuted(greatest, ranks):
                return Ranking(self._course, greatest, ranks)
            # Rounding may fail again where it failed before: then whole numbers are looked for.
            exact = self._fit.size == size
        raise NoRankError

    def _learn_starts(self) -> None:
        """Limit the ranks of known moments from which the time counts."""
        if self._deadline.trigger_over_tick:
            return
        writer = CodeWriter([], ())
        triggers = {
            state: writer.function([specialised(self._deadline.trigger, state, self._trial)])
            for state in self._course.states
        }
        for tick in self._sifter.ticks.values():
            state, values = tick.row.source, tick.before
            if self._pending_at(state, values) and triggers[state](values, 0, {}, 0)[0]:
                self._fit.add_start(state, values)

    @property
    def _wanted(self) -> int:
        """The greatest rank that keeps the time asked for."""
        within = self._deadline.within_ticks
        assert within is not None
        return within - 1 if self._deadline.trigger_over_tick else within

    def _judge_pending(self) -> Mapping[str, Check]:
        writer = CodeWriter([], ())
        return {
            state: writer.function([negated(specialised(self._deadline.goal, state, self._trial))])
            for state in self._course.states
        }

    def _pending_at(self, state: str, values: Values) -> bool:
        return state in self._is_pending and self._is_pending[state](values, 0, {}, 0)[0]

    def _learn(self, tick: SiftedTick) -> None:
        """Make the ranks fall over a tick, if it lies on the course."""
        row = tick.row
        if self._pending_at(row.source, tick.before) and self._pending_at(row.target, tick.after):
            self._fit.add_tick(row.source, tick.before, row.target, tick.after)

    def _refuted(self, greatest: int, ranks: Ranks) -> bool:
        """Learn from a moment or tick where the ranks fail, in each place where they can."""
        states = self._course.states
        listed = self._terms.integers([ranks[state].expression for state in states])
        terms = dict(zip(states, listed, strict=True))
        starts = list(self._starts_above(greatest, terms))
        for state, values in starts:
            self._fit.add_start(state, values)
        ticks = [tick for row in self._course.rows if (tick := self._not_falling(row, terms))]
        for tick in ticks:
            for near in self._neighbours(tick):
                self._learn(near)
        return bool(starts or ticks)

    def _starts_above(
        self, greatest: int, ranks: Mapping[str, z3.BitVecRef]
    ) -> Iterator[tuple[str, Values]]:
        """Yield a moment of each state from which the time counts and whose rank is too great."""
        for start in self._course.starts:
            rank = ranks[start.state]
            if start.row is not None:
                (rank,) = self._terms.after(start.row, [rank])
            model = self._model(start.premise, rank > greatest)
            if model is not None:
                yield start.state, self._variables(model, start.row)

    def _not_falling(self, row: Row, ranks: Mapping[str, z3.BitVecRef]) -> SiftedTick | None:
        """Return a tick by a row over which the rank does not fall to 1 or more."""
        after, still = self._terms.after(row, [ranks[row.target], self._pending[row.target]])
        premise = [*self._finder.premise(row), self._pending[row.source], still]
        falls = z3.And(after < ranks[row.source], after >= 1)
        model = self._model(premise, z3.Not(falls))
        if model is None:
            return None
        constants = self._terms.constants
        inputs = {s.name: number(model, constants[s.name]) for s in self._trial.inputs}
        return SiftedTick(row, self._variables(model, None), inputs, self._variables(model, row))

    def _model(self, premise: list[z3.BoolRef], failure: z3.BoolRef) -> z3.ModelRef | None:
        # A new solver each time: simplified as a whole, multiplications are no burden.
        solver = z3.SolverFor("QF_BV")
        solver.set("timeout", round(self._limit_s * 1000))
        solver.add(*premise, failure)
        answer = solver.check()
        if answer == z3.unknown:
            raise OutOfTimeError(solver.reason_unknown())
        return solver.model() if answer == z3.sat else None

    def _variables(self, model: z3.ModelRef, row: Row | None) -> Values:
        """Return the variables of a model, before the tick or after a row."""
        assigned = {} if row is None else self._terms.assigned(row)
        return {
            v.name: number(model, assigned.get(v.name, self._terms.constants[v.name]))
            for v in self._trial.variables
        }

    def _neighbours(self, tick: SiftedTick) -> Iterator[SiftedTick]:
        """Yield the tick and the like with one variable as far away as facts and row allow."""
        yield tick
        yield from self._sifter.extremes(tick)
