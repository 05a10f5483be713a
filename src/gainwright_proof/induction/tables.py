"""Smallest examples of decision tables that are not single-hit."""

from __future__ import annotations

from collections.abc import Mapping

from gainwright_proof.induction.effort import OutOfEffortError
from gainwright_proof.induction.plan import SINGLE_HIT, Plan
from gainwright_proof.induction.question import Moment
from gainwright_proof.induction.smallest import smallest_example
from gainwright_proof.induction.solvers import Answer, Reply
from gainwright_proof.induction.terms import StepTerms


def failing_tables(
    terms: StepTerms, plan: Plan, replies: Mapping[str, Reply], effort_s: float
) -> dict[str, Moment]:
    """Return an example for each subject ``single_hit/<state>`` that fails.

    A table for which no example is found in time is left out.
    """
    found: dict[str, Moment] = {}
    for subject, questions in plan.questions.items():
        if not subject.startswith(SINGLE_HIT):
            continue
        state = subject.removeprefix(SINGLE_HIT)
        for question in questions:
            if replies[question.name].answer is Answer.SAT and subject not in found:
                try:
                    example = smallest_example(terms, question, state, effort_s)
                except OutOfEffortError:
                    continue
                if example is not None:
                    found[subject] = example
    return found
