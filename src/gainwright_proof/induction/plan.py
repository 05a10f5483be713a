"""Everything that is put to the solvers about a trial: obligations by subject."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from gainwright_proof.exploration.subjects import NO_OVERFLOW, RANGES
from gainwright_proof.induction.claims import no_overflow, ranges, single_hit
from gainwright_proof.induction.found import Found
from gainwright_proof.induction.induction import Facts
from gainwright_proof.induction.question import Question, obligation
from gainwright_proof.induction.step import StepEncoding
from gainwright_proof.verdict import Obligation

FACTS = "trial/facts"
SINGLE_HIT = "single_hit/"


@dataclass(frozen=True, slots=True)
class Plan:
    """Obligations by subject, and what they rest on."""

    of_every_trial: Mapping[str, tuple[Obligation, ...]]
    """Single-hit tables, ranges, no overflow: they rest on nothing."""
    questions: Mapping[str, tuple[Question, ...]]
    """The questions behind :attr:`of_every_trial`."""
    supported: Mapping[str, tuple[Obligation, ...]]
    """Requirements, the end of the trial, and what is impossible."""
    resting_on_facts: frozenset[str]
    """Subjects of :attr:`supported` that need facts."""
    facts: tuple[Obligation, ...]
    """That the facts hold for ever."""

    def everything(self) -> list[Obligation]:
        """Return every obligation, sorted by name."""
        groups = [*self.of_every_trial.values(), *self.supported.values(), self.facts]
        return sorted((o for group in groups for o in group), key=lambda o: o.name)


def plan(step: StepEncoding, found: Found) -> Plan:
    """Return all obligations of a trial."""
    questions = {SINGLE_HIT + s.name: single_hit(step, s) for s in step.trial.states}
    questions[NO_OVERFLOW] = tuple(no_overflow(step))
    questions[RANGES] = tuple(ranges(step))
    supported = {**found.supported, **found.impossible}
    return Plan(
        {s: _obligations(step, ((q, {}) for q in asked)) for s, asked in questions.items()},
        questions,
        {subject: _obligations(step, s.questions) for subject, s in supported.items()},
        frozenset(subject for subject, s in supported.items() if s.rests_on_facts),
        _obligations(step, found.fact_questions),
    )


def _obligations(
    step: StepEncoding, pairs: Iterable[tuple[Question, Facts]]
) -> tuple[Obligation, ...]:
    return tuple(obligation(step, question, facts) for question, facts in pairs)
