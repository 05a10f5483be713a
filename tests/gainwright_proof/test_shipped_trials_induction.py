"""Trials complete and loadside: invariants are inductive together, and steps follow from them."""

from __future__ import annotations

from functools import cached_property

import pytest
import z3

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.induction.expression import translate
from gainwright_proof.induction.script import Statement, script
from gainwright_proof.induction.step import StepEncoding

pytestmark = pytest.mark.slow

NEED_REACHABILITY = {
    "complete": {"request_counts_as_released_only_if_seen_released", "repeats_are_few"},
    "loadside": set(),
}
"""These speak of variables that are at rest in most states, which no invariant of the file says."""


class Encoded:
    """A trial, its step, and the symbols of the moment after the tick."""

    def __init__(self, name: str) -> None:
        self.trial = load_trial(shipped_trial_path(name))

    @cached_property
    def step(self) -> StepEncoding:
        return StepEncoding(self.trial)

    def constant(self, *arguments):
        return self.step.constant(*arguments)

    def state_code(self, *arguments):
        return self.step.state_code(*arguments)

    def value(self, name: str, after: bool) -> str:
        return self.step.value(name, True)

    def state(self, after: bool) -> str:
        return self.step.state(True)

    def of_kind(self, kind: str):
        return [r for r in self.trial.requirements if r.kind.value == kind]

    def follows(self, claim: str) -> bool:
        known = [Statement(r.id, self.step.formula(r.formula)) for r in self.of_kind("invariant")]
        solver = z3.Solver()
        solver.from_string(
            script(["claim"], self.step.definitions, known, Statement("claim", claim))
        )
        return solver.check() == z3.unsat


ENCODED = {name: Encoded(name) for name in NEED_REACHABILITY}


def cases(kind: str):
    return [
        pytest.param(name, requirement, id=f"{name}-{requirement.id}")
        for name, encoded in ENCODED.items()
        for requirement in encoded.of_kind(kind)
        if requirement.id not in NEED_REACHABILITY[name]
    ]


@pytest.mark.parametrize(("name", "requirement"), cases("invariant"))
def test_invariants_are_inductive_together(name, requirement):
    encoded = ENCODED[name]
    assert encoded.follows(translate(requirement.formula, encoded))


@pytest.mark.parametrize(("name", "requirement"), cases("step"))
def test_step_requirements_follow_from_the_invariants(name, requirement):
    encoded = ENCODED[name]
    assert encoded.follows(encoded.step.formula(requirement.formula))


def test_a_claim_that_does_not_follow_is_noticed():
    """The load is closed in only from approach: not from a state before it."""
    encoded = ENCODED["loadside"]
    claim = encoded.trial.requirements
    wrong = next(r for r in claim if r.id == "load_loop_only_while_measuring")
    assert not encoded.follows(f"(not {translate(wrong.formula, encoded)})")
