"""Looks for the proof of everything that is asked about a trial; solvers then check it.

What is found are questions with the facts they rest on. A requirement that resists is tried again
with more facts, then refuted by unrolling if a few ticks suffice, else left unfinished.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from gainwright.proof.smt.claims import (
    consecution,
    initiation,
    requirement_heading,
    requirement_question,
)
from gainwright.proof.smt.deadline import (
    CourseFinder,
    Deadline,
    requirement_deadline,
    whole_trial_deadline,
)
from gainwright.proof.smt.facts import MOST_PREMISES, FactFinder
from gainwright.proof.smt.induction import Facts
from gainwright.proof.smt.question import FactSelector, Moment, Question, merged
from gainwright.proof.smt.rank_claims import rank_questions
from gainwright.proof.smt.rank_fit import NoRankError
from gainwright.proof.smt.rank_search import Ranking, RankSearch
from gainwright.proof.smt.step import StepEncoding
from gainwright.proof.smt.switchboard import OutOfTimeError
from gainwright.proof.smt.terms import StepTerms
from gainwright.proof.smt.unrolling import (
    Inputs,
    Unrolling,
    deadline_violation,
    question_violation,
)

Progress = Callable[[str], None]
UNROLLED_TICKS = 16
UNROLLING_LIMIT_S = 6.0


@dataclass(frozen=True, slots=True)
class Supported:
    """Questions and the facts with which each is answered."""

    questions: tuple[tuple[Question, Facts], ...]
    ranking: Ranking | None = None


@dataclass(frozen=True, slots=True)
class Resisting:
    """A subject that no proof was found for, and why."""

    reason: str
    moment: Moment | None = None
    """Where it would fail, if that moment were reachable."""


@dataclass
class Found:
    """What the search found, by subject."""

    supported: dict[str, Supported] = field(default_factory=dict)
    violated: dict[str, list[Inputs]] = field(default_factory=dict)
    """Inputs of a shortest run from power-on that violates a requirement."""
    resisting: dict[str, Resisting] = field(default_factory=dict)
    facts: Facts = field(default_factory=dict)
    """Facts on which the supported subjects rest; inductive on their own."""
    fact_questions: tuple[tuple[Question, Facts], ...] = ()
    """That these facts hold for ever."""
    unrolled_ticks: int = -1
    """Resisting requirements of short time are not violated by a run of so many ticks."""


class ProofSearch:
    """The search for one trial."""

    def __init__(
        self, step: StepEncoding, terms: StepTerms, limit_s: float, tell: Progress
    ) -> None:
        """No question takes z3 longer than ``limit_s``; ``tell`` is told what is going on."""
        self._trial = step.trial
        self._step = step
        self._terms = terms
        self._limit_s = limit_s
        self._tell = tell
        self._finder = FactFinder(self._trial, terms, limit_s)
        self._found = Found()
        self._questions = {
            requirement.id: question
            for requirement in self._trial.requirements
            if (question := requirement_question(step, requirement)) is not None
        }
        self._deadlines = self._all_deadlines()

    def run(self) -> Found:
        """Return proofs, violations and what resists both."""
        open_subjects = [*self._questions, *self._deadlines]
        for premises in range(MOST_PREMISES + 1):
            self._tell("looking for facts" + (f" under {premises} premises" * (premises > 0)))
            try:
                searched = self._finder.search(premises)
            except OutOfTimeError as error:
                searched = False
                self._found.resisting |= {
                    subject: Resisting(f"the search for facts ended: {error}")
                    for subject in open_subjects
                    if subject not in self._found.resisting
                }
            if not searched:
                break
            self._attempt(open_subjects)
            if premises == 0:
                self._unroll()
            open_subjects = [s for s in open_subjects if s in self._found.resisting]
            if not open_subjects:
                break
        self._tell("collecting the facts that are needed")
        self._keep_facts()
        return self._found

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
        selector = FactSelector(self._terms, self._finder.facts, self._limit_s)
        for subject in subjects:
            if subject in self._questions:
                self._judge(subject, [self._questions[subject]], selector, None)
        deadlines = [self._deadlines[s] for s in subjects if s in self._deadlines]
        if not deadlines:
            return
        ticks = self._finder.ticks()
        facts = self._finder.facts
        courses = CourseFinder(self._trial, self._terms, facts, self._limit_s)
        for deadline, heading in deadlines:
            self._tell(f"ranks for {deadline.subject}")
            others = [s.ranking for s in self._found.supported.values() if s.ranking is not None]
            try:
                search = RankSearch(
                    self._trial, self._terms, courses, ticks, facts, deadline, self._limit_s
                )
                ranking = search.ranking(others)
            except NoRankError:
                reason = "no rank of the form that is tried falls with every tick"
                self._found.resisting[deadline.subject] = Resisting(reason)
            except OutOfTimeError as error:
                self._found.resisting[deadline.subject] = Resisting(f"z3: {error}")
            else:
                questions = list(rank_questions(self._step, deadline, ranking, heading))
                self._judge(deadline.subject, questions, selector, ranking)

    def _judge(
        self,
        subject: str,
        questions: Sequence[Question],
        selector: FactSelector,
        ranking: Ranking | None,
    ) -> None:
        """Find the facts that the questions of a subject need, or note what resists."""
        pairs = []
        for question in questions:
            try:
                needed = selector.needed(question)
            except OutOfTimeError as error:
                self._found.resisting[subject] = Resisting(f"z3: {error}")
                return
            if isinstance(needed, Moment):
                self._found.resisting[subject] = Resisting(
                    "no facts were found that prove it", needed
                )
                return
            pairs.append((question, needed))
        self._found.resisting.pop(subject, None)
        self._found.supported[subject] = Supported(tuple(pairs), ranking)

    def _unroll(self) -> None:
        """Refute what a few ticks from power-on refute."""
        violations = []
        for subject in self._found.resisting:
            if subject in self._questions:
                violations.append(
                    question_violation(self._terms, subject, self._questions[subject])
                )
            else:
                violation = deadline_violation(self._terms, self._deadlines[subject][0])
                if violation is not None and violation.span <= UNROLLED_TICKS:
                    violations.append(violation)
        if not violations:
            return
        self._tell("unrolling from power-on")
        unrolling = Unrolling(self._step, self._terms)
        outcome = unrolling.search(violations, UNROLLED_TICKS, UNROLLING_LIMIT_S)
        self._found.unrolled_ticks = outcome.depth
        for subject, inputs in outcome.violations.items():
            del self._found.resisting[subject]
            self._found.violated[subject] = inputs

    def _keep_facts(self) -> None:
        """Close the facts used under induction, and ask that they hold."""
        used = [facts for s in self._found.supported.values() for _, facts in s.questions]
        wanted = merged(used)
        if not any(wanted.values()):
            return
        self._found.facts = self._finder.support(wanted)
        begin = initiation(self._step, self._found.facts)
        kept = list(consecution(self._step, self._found.facts))
        self._found.fact_questions = (*([(begin, {})] if begin else []), *kept)
