"""What the facts say beside the requirements: what can never happen, what is never cut off."""

from __future__ import annotations

from collections.abc import Callable

from gainwright.language.model import RequirementKind
from gainwright_proof.exploration.subjects import ASSIGNMENTS
from gainwright_proof.induction.claims import (
    computed_assignments,
    never_taken,
    never_true,
    within_its_range,
)
from gainwright_proof.induction.effort import OutOfEffortError
from gainwright_proof.induction.found import ROW, Found, Supported
from gainwright_proof.induction.induction import Facts
from gainwright_proof.induction.question import Moment, Question
from gainwright_proof.induction.step import StepEncoding

Look = Callable[[Question], Facts | Moment]
"""Returns the facts that prove a question, or where it fails; raises OutOfEffortError."""


def add_impossible(found: Found, step: StepEncoding, look: Look) -> None:
    """Find rows and states of affairs that should be reachable and cannot be."""
    asked = {
        requirement.id: never_true(step, requirement)
        for requirement in step.trial.requirements
        if requirement.kind is RequirementKind.REACHABLE
    }
    asked |= {ROW + row.id: never_taken(step, row) for row in step.trial.rows}
    for subject, question in asked.items():
        needed = _needed(question, look)
        if needed is not None:
            found.impossible[subject] = Supported(((question, needed),))


def add_assignments(found: Found, step: StepEncoding, look: Look) -> None:
    """Find out which assignments can be stopped by the range of their variable."""
    proved = []
    for row, variable in computed_assignments(step.trial):
        question = within_its_range(step, row, variable)
        needed = _needed(question, look)
        if needed is None:
            found.limited.append(f"{variable.name} in {row.id}")
        else:
            proved.append((question, needed))
    if proved:
        found.supported[ASSIGNMENTS] = Supported(tuple(proved))


def _needed(question: Question, look: Look) -> Facts | None:
    """Return the facts that prove a claim that may well be wrong, or None."""
    try:
        needed = look(question)
    except OutOfEffortError:
        return None
    return None if isinstance(needed, Moment) else needed
