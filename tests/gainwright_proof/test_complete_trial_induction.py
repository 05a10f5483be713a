"""The complete trial: its invariants are inductive together, and its step requirements follow."""

from __future__ import annotations

import pytest
import z3

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.induction.expression import translate
from gainwright_proof.induction.script import Statement, script
from gainwright_proof.induction.step import StepEncoding

pytestmark = pytest.mark.slow

TRIAL = load_trial(shipped_trial_path("complete"))
STEP = StepEncoding(TRIAL)
NEED_REACHABILITY = {"request_counts_as_released_only_if_seen_released", "repeats_are_few"}
"""These speak of variables that are at rest in most states, which no invariant of the file says."""


class After:
    """Symbols of the moment after the tick."""

    def value(self, name: str, after: bool) -> str:
        return STEP.value(name, True)

    def state(self, after: bool) -> str:
        return STEP.state(True)

    constant, state_code = STEP.constant, STEP.state_code


def of_kind(kind: str):
    return [r for r in TRIAL.requirements if r.kind.value == kind]


def follows(claim: str) -> bool:
    known = [Statement(r.id, STEP.formula(r.formula)) for r in of_kind("invariant")]
    solver = z3.Solver()
    solver.from_string(script(["claim"], STEP.definitions, known, Statement("claim", claim)))
    return solver.check() == z3.unsat


@pytest.mark.parametrize("requirement", of_kind("invariant"), ids=lambda r: r.id)
def test_invariants_are_inductive_together(requirement):
    assert follows(translate(requirement.formula, After()))


@pytest.mark.parametrize(
    "requirement", [r for r in of_kind("step") if r.id not in NEED_REACHABILITY], ids=lambda r: r.id
)
def test_step_requirements_follow_from_the_invariants(requirement):
    assert follows(STEP.formula(requirement.formula))
