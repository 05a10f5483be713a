"""Looks for the proof of everything that is asked about a trial; solvers then check it.

What is found are questions with the facts they rest on. A requirement that resists is tried again
with more facts, then refuted by unrolling if a few ticks suffice, else left unfinished.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import cached_property, partial

import z3

from gainwright.language.expression import Expression
from gainwright.language.model import RequirementKind, Trial
from gainwright_proof.exploration.subjects import WHOLE_TRIAL
from gainwright_proof.induction.claims import (
    consecution,
    initiation,
    requirement_heading,
    requirement_question,
)
from gainwright_proof.induction.deadline import (
    CourseFinder,
    Deadline,
    requirement_deadline,
    whole_trial_deadline,
)
from gainwright_proof.induction.effort import Budget, OutOfEffortError
from gainwright_proof.induction.facts import MOST_PREMISES, FactFinder
from gainwright_proof.induction.found import Found, Resisting, Supported
from gainwright_proof.induction.hints import Hints
from gainwright_proof.induction.incidental import add_assignments, add_impossible
from gainwright_proof.induction.question import FactSelector, Moment, Question, merged
from gainwright_proof.induction.rank_claims import rank_questions
from gainwright_proof.induction.rank_fit import NoRankError
from gainwright_proof.induction.rank_search import Ranking, RankSearch
from gainwright_proof.induction.sifting import Sifter
from gainwright_proof.induction.step import StepEncoding
from gainwright_proof.induction.terms import StepTerms
from gainwright_proof.induction.unrolling import (
    Unrolling,
    deadline_violation,
    question_violation,
)

Progress = Callable[[str], None]
SEARCH_EFFORT_S = 60.0
"""After so much effort no further kind of facts is tried, and none gets more."""
QUESTIONS_EFFORT_S = 240.0
"""For all questions that rest on the same facts."""
RANKS_EFFORT_S = 60.0
"""For the ranks of one deadline."""
UNROLLED_TICKS = 16
UNROLLING_EFFORT_S = 6.0


class UnshownFactsError(Exception):
    """A proof would rest on facts that nothing shows: hints that do not belong together."""


class ProofSearch:
    """The search for one trial."""

    def __init__(
        self,
        step: StepEncoding,
        terms: StepTerms,
        effort_s: float,
        tell: Progress,
        hints: Hints,
    ) -> None:
        """No question takes z3 longer than ``effort_s``; ``tell`` is told what is going on."""
        self._hints = hints
        self._trial = step.trial
        self._step = step
        self._terms = terms
        self._effort_s = effort_s
        self._tell = tell
        self._finder = FactFinder(self._trial, terms)
        self._found = Found()
        self._questions = {
            requirement.id: question
            for requirement in self._trial.requirements
            if (question := requirement_question(step, requirement)) is not None
        }
        self._deadlines = self._all_deadlines()

    def run(self) -> Found:
        """Return proofs, violations and what resists both."""
        # Each looks for more; where it says that there is more, what resists is tried again.
        rounds: list[tuple[str, Callable[[], bool]]] = [
            ("looking for facts", partial(self._search, 0)),
            ("looking for facts under premises", self._search_for_resisting),
            ("unrolling from power-on", self._unroll),
            *(
                (
                    f"looking for facts under {count} premises of any kind",
                    partial(self._search, count),
                )
                for count in range(1, MOST_PREMISES + 1)
            ),
        ]
        open_subjects = [*self._questions, *self._deadlines]
        budget = Budget(SEARCH_EFFORT_S)
        for title, look in rounds:
            if budget.spent:
                self._found.out_of_time = True
                break
            self._tell(title)
            try:
                more = look()
            except OutOfEffortError as error:
                self._give_up(open_subjects, f"the search for facts ended: {error}")
                break
            if more:
                self._attempt(open_subjects)
            # That a trial ends is reported if it is easily shown; requirements are insisted on.
            self._found.resisting.pop(WHOLE_TRIAL, None)
            open_subjects = [s for s in open_subjects if s in self._found.resisting]
            if not open_subjects:
                break
        self._tell("looking for what is impossible")
        selector = self._selector()
        needed = partial(self._needed, selector)
        add_impossible(self._found, self._step, needed)
        add_assignments(self._found, self._step, needed)
        self._tell("collecting the facts that are needed")
        self._keep_facts()
        return self._found

    def _budget(self) -> Budget:
        return Budget(SEARCH_EFFORT_S, self._effort_s)

    def _selector(self) -> FactSelector:
        budget = Budget(QUESTIONS_EFFORT_S, self._effort_s)
        return FactSelector(self._own_terms(), self._finder.facts, budget)

    def _own_terms(self) -> StepTerms:
        """Return terms that no search has been through: which facts are taken hangs on nothing
        that came before, and the same evidence is made again."""
        return StepTerms(self._step, z3.Context())

    def _search(self, premises: int) -> bool:
        key = ("facts under premises", premises)
        more, facts = self._hints.recall(
            key, lambda: (self._finder.search(premises, self._budget()), dict(self._finder.facts))
        )
        self._finder.facts = dict(facts)
        return more

    def _search_for_resisting(self) -> bool:
        """Look for what the invariants that resist demand; False if none does."""
        resisting = [
            requirement.formula
            for requirement in self._trial.requirements
            if requirement.id in self._found.resisting
            and requirement.kind is RequirementKind.INVARIANT
        ]
        if resisting:
            facts = self._hints.recall(
                ("facts for", *resisting), lambda: self._searched_for(resisting)
            )
            self._finder.facts = dict(facts)
        return bool(resisting)

    def _searched_for(self, resisting: Sequence[Expression]) -> dict[str, list[Expression]]:
        self._finder.search_for(resisting, self._budget())
        return dict(self._finder.facts)

    def _give_up(self, subjects: Sequence[str], reason: str) -> None:
        for subject in subjects:
            self._found.resisting.setdefault(subject, Resisting(reason))

    def _all_deadlines(self) -> dict[str, tuple[Deadline, tuple[str, ...]]]:
        found: dict[str, tuple[Deadline, tuple[str, ...]]] = {}
        for requirement in self._trial.requirements:
            deadline = requirement_deadline(requirement)
            if deadline is not None and requirement.id not in self._questions:
                found[requirement.id] = deadline, requirement_heading(requirement, self._trial)
        whole = whole_trial_deadline(self._trial)
        if whole is not None:
            found[whole.subject] = whole, (whole.sentence,)
        return found

    def _attempt(self, subjects: Sequence[str]) -> None:
        selector = self._selector()
        for subject in subjects:
            if subject in self._questions:
                self._judge(subject, [self._questions[subject]], selector)
        deadlines = [self._deadlines[s] for s in subjects if s in self._deadlines]
        if not deadlines:
            return
        searches = _RankSearches(self._trial, self._terms, self._finder, self._effort_s)
        for deadline, heading in deadlines:
            self._tell(f"ranks for {deadline.subject}")
            try:
                self._judge_deadline(searches, deadline, heading, selector)
            except NoRankError as error:
                self._found.resisting[deadline.subject] = Resisting(_without_ranks(deadline, error))
            except OutOfEffortError as error:
                self._found.resisting[deadline.subject] = Resisting(f"z3: {error}")

    def _judge_deadline(
        self,
        searches: _RankSearches,
        deadline: Deadline,
        heading: tuple[str, ...],
        selector: FactSelector,
    ) -> None:
        others = [s.ranking for s in self._found.supported.values() if s.ranking is not None]
        ranking = self._hints.recall(
            ("ranks", deadline.subject), lambda: searches.search(deadline, others)
        )
        if isinstance(ranking, NoRankError):
            raise ranking
        ticks = deadline.ticks(ranking.greatest)
        if deadline.within_ticks is not None and ticks > deadline.within_ticks:
            raise NoRankError(f"the shortest time that ranks show is {ticks} ticks")
        questions = list(rank_questions(self._step, deadline, ranking, heading))
        self._judge(deadline.subject, questions, selector, ranking, ticks)

    def _judge(
        self,
        subject: str,
        questions: Sequence[Question],
        selector: FactSelector,
        ranking: Ranking | None = None,
        ticks: int = 0,
    ) -> None:
        """Find the facts that the questions of a subject need, or note what resists."""
        pairs = []
        for question in questions:
            try:
                needed = self._needed(selector, question)
            except OutOfEffortError as error:
                self._found.resisting[subject] = Resisting(f"z3: {error}")
                return
            if isinstance(needed, Moment):
                self._found.resisting[subject] = Resisting(
                    "no facts were found that prove it", needed
                )
                return
            pairs.append((question, needed))
        self._found.resisting.pop(subject, None)
        self._found.supported[subject] = Supported(tuple(pairs), ranking, ticks)

    def _needed(
        self, selector: FactSelector, question: Question
    ) -> dict[str, list[Expression]] | Moment:
        # A question may be asked again when more facts are known.
        count = sum(map(len, self._finder.facts.values()))
        key = ("needed", question.name, count)
        return self._hints.recall(key, lambda: selector.needed(question))

    def _unroll(self) -> bool:
        """Refute what a few ticks from power-on refute; no facts are found by it."""
        violations = []
        for subject in self._found.resisting:
            if subject in self._questions:
                violation = question_violation(self._terms, subject, self._questions[subject])
                violations.append(violation)
            else:
                deadline = self._deadlines[subject][0]
                # Looked at first: a bound of 2e9 ticks would be unrolled before it is refused.
                if (deadline.within_ticks or 0) <= UNROLLED_TICKS:
                    timed = deadline_violation(self._terms, deadline)
                    violations += [] if timed is None else [timed]
        if violations:
            unrolling = Unrolling(self._step, self._terms)
            outcome = unrolling.search(violations, UNROLLED_TICKS, UNROLLING_EFFORT_S)
            self._found.unrolled_ticks = {v.subject: outcome.depth for v in violations}
            for subject, inputs in outcome.violations.items():
                del self._found.resisting[subject]
                self._found.violated[subject] = inputs
        return False

    def _keep_facts(self) -> None:
        """Close the facts used under induction, and ask that they hold."""
        subjects = [*self._found.supported.values(), *self._found.impossible.values()]
        used = [facts for s in subjects for _, facts in s.questions]
        wanted = merged(used)
        if not any(wanted.values()):
            return
        try:
            facts = self._hints.recall(
                ("closure",),
                lambda: self._finder.support(wanted, self._own_terms(), self._budget()),
            )
            self._found.facts = facts
        except OutOfEffortError as error:
            self._drop_resting(f"the facts it needs could not be collected: {error}")
            return
        if not all(set(about) <= {*facts.get(state, ())} for state, about in wanted.items()):
            # All that is rested on must be asked.
            raise UnshownFactsError
        begin = initiation(self._step, self._found.facts)
        kept = list(consecution(self._step, self._found.facts))
        self._found.fact_questions = (*([(begin, {})] if begin else []), *kept)

    def _drop_resting(self, reason: str) -> None:
        """Give up everything that rests on facts."""
        found = self._found
        for group in (found.supported, found.impossible):
            for subject, supported in list(group.items()):
                if supported.rests_on_facts:
                    del group[subject]
                    if subject in self._questions or subject in self._deadlines:
                        found.resisting[subject] = Resisting(reason)


class _RankSearches:
    """Searches for ranks, with what they share made at the first."""

    def __init__(self, trial: Trial, terms: StepTerms, finder: FactFinder, effort_s: float) -> None:
        self._trial, self._terms, self._finder = trial, terms, finder
        self._effort_s = effort_s
        self._ticks: Sifter | None = None

    @cached_property
    def _courses(self) -> CourseFinder:
        return CourseFinder(self._trial, self._terms, self._finder.facts)

    def _sifted(self, budget: Budget) -> Sifter:
        if self._ticks is None:
            self._ticks = self._finder.ticks(budget)
        return self._ticks

    def search(self, deadline: Deadline, others: Iterable[Ranking]) -> Ranking | NoRankError:
        """Return a ranking for obligations, or why there is none; raises OutOfEffortError."""
        budget = Budget(RANKS_EFFORT_S, self._effort_s)
        facts, ticks = self._finder.facts, self._sifted(budget)
        search = RankSearch(self._trial, self._terms, self._courses, ticks, facts, deadline, budget)
        try:
            return search.ranking(others).to_be_checked
        except NoRankError as error:
            return NoRankError(*error.args)


def _without_ranks(deadline: Deadline, error: NoRankError) -> str:
    """Return why there are no ranks.

    For the whole trial, where the search is short, how far it came differs from run to run, and a
    recheck would take that for another finding.
    """
    if deadline.subject == WHOLE_TRIAL:
        return "no rank of the form that is tried falls with every tick and ends in time"
    return str(error) or "no rank of the form that is tried falls with every tick"
