"""Finds ranks: fitted to ticks that are known, tried on all by z3, fitted again to what fails."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass

from gainwright.language.model import Trial
from gainwright.semantics.python_code import Check, CodeWriter
from gainwright_proof.exploration.subjects import WHOLE_TRIAL
from gainwright_proof.induction.deadline import (
    Course,
    CourseFinder,
    Deadline,
)
from gainwright_proof.induction.effort import Budget
from gainwright_proof.induction.fast_machine import Values
from gainwright_proof.induction.fresh_solvers import FreshSolvers
from gainwright_proof.induction.induction import Facts
from gainwright_proof.induction.rank_fit import ROUNDING, NoRankError, RankFit
from gainwright_proof.induction.rank_refuter import RankRefuter
from gainwright_proof.induction.ranking import Detail, Ranks, features, free_variables
from gainwright_proof.induction.sifting import SiftedTick, Sifter
from gainwright_proof.induction.specialise import negated, specialised
from gainwright_proof.induction.terms import StepTerms

MOST_ROUNDS = 40
EASY_ROUNDS = 8
"""For what is reported only if it is easily shown."""


@dataclass(frozen=True, slots=True)
class Ranking:
    """Ranks that fall along a course, and the greatest with which it can begin."""

    course: Course
    greatest: int
    """At the moment that triggers; for a trigger over a tick: at the moment after it."""
    ranks: Ranks

    @property
    def to_be_checked(self) -> Ranking:
        """The ranking as obligations need it: states on the way and ranks."""
        return Ranking(Course((), self.course.states, ()), self.greatest, self.ranks)


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
        budget: Budget,
    ) -> None:
        """``sifter`` has run with the facts established; raises OutOfEffortError."""
        self._trial = trial
        self._sifter = sifter
        self._deadline = deadline
        solvers = FreshSolvers(budget)
        self._course = finder.course(deadline, solvers)
        self._refuter = RankRefuter(trial, terms, finder, deadline, self._course, solvers)
        self._is_pending = self._judge_pending()
        self._free = {
            state: free_variables(trial, facts.get(state, ())) for state in self._course.states
        }
        self._fit = RankFit({})

    def ranking(self, others: Iterable[Ranking]) -> Ranking:
        """Return ranks; raises NoRankError if none of this form do, OutOfEffortError.

        The greatest may still be above what the deadline allows.
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
        if not self._few_change and Detail.CHANGED in details:
            details.remove(Detail.CHANGED)
        for detail in details:
            try:
                return self._ranking(detail)
            except NoRankError:
                if detail is details[-1]:
                    raise
        raise NoRankError

    def _worth(self, detail: Detail, state: str) -> frozenset[str]:
        """Return the variables that the rank of a state may look at."""
        free = self._free[state]
        return free & self._changed if detail is Detail.CHANGED else free

    @property
    def _changed(self) -> frozenset[str]:
        """Variables that rows on the way give another value."""
        return frozenset(name for row in self._course.rows for name in row.actions)

    @property
    def _few_change(self) -> bool:
        """Whether most variables only stay as they are: they hide those that fall from a fit that
        knows few ticks."""
        free = sum(len(self._free[state]) for state in self._course.states)
        changed = sum(len(self._free[state] & self._changed) for state in self._course.states)
        return 2 * changed <= free

    def _serves(self, other: Ranking) -> bool:
        return set(self._course.states) <= other.ranks.keys() and not self._refuted(
            other.greatest, other.ranks
        )

    def _ranking(self, detail: Detail) -> Ranking:
        self._fit = RankFit(
            {
                state: features(self._trial, detail, self._worth(detail, state))
                for state in self._course.states
            }
        )
        for tick in self._sifter.ticks.values():
            self._learn(tick)
        self._learn_starts()
        before = -1.0
        is_extra = self._deadline.subject == WHOLE_TRIAL
        rounds = 2 * MOST_ROUNDS if detail is Detail.CHANGED else MOST_ROUNDS
        for _ in range(EASY_ROUNDS if is_extra else rounds):
            least = self._fit.least_greatest()
            if self._deadline.within_ticks is not None and self._too_long(least):
                # No ranks of this form are short enough, whole numbers or not.
                ticks = self._deadline.ticks(math.ceil(least - ROUNDING))
                raise NoRankError(f"the shortest time that ranks show is {ticks} ticks")
            # Where more is known and the least does not rise, it is rounding that fails.
            exact = least <= before + ROUNDING
            before = least
            greatest, ranks, whole = self._fitted(self._allowed(least), exact)
            if not all(rank.fits for rank in ranks.values()):
                raise NoRankError
            size = self._fit.size
            if not self._refuted(greatest, ranks):
                return Ranking(self._course, greatest, ranks)
            if exact and not whole and self._fit.size == size:
                raise NoRankError
        raise NoRankError

    def _fitted(self, allowed: float, exact: bool) -> tuple[int, Ranks, bool]:
        """Return greatest rank and ranks, and whether they are whole numbers without rounding."""
        if exact:
            with suppress(NoRankError):
                return *self._fit.fit(allowed, exact=True), True
        # Where no whole numbers were met, what rounding violates shows the way to others.
        return *self._fit.fit(allowed, exact=False), False

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

    def _allowed(self, least: float) -> float:
        """Return what the greatest rank may be: all that the deadline allows, where it says so.

        The least is often reached by halves only, and whole numbers are hard to find there.
        """
        within = self._deadline.within_ticks
        if within is None:
            return least
        return max(least, within - self._deadline.ticks(0))

    def _too_long(self, greatest: float) -> bool:
        within = self._deadline.within_ticks
        assert within is not None
        return self._deadline.ticks(round(greatest)) > within

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
        refuter = self._refuter
        starts = list(refuter.starts_above(greatest, ranks))
        for state, values in starts:
            self._fit.add_start(state, values)
        pending = list(refuter.not_positive(ranks))
        for state, values in pending:
            self._fit.add_pending(state, values)
        ticks = list(refuter.not_falling(ranks))
        for tick in ticks:
            self._learn(tick)
            for extreme in self._sifter.extremes(tick):
                self._learn(extreme)
        return bool(starts or pending or ticks)
