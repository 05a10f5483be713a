"""Premises that never hold and triggers that never come are said, unless the trial says why."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gainwright.language.model import NEVER, Requirement, RequirementKind
from gainwright.language.parse import parse
from gainwright_proof.evidence.conclusion import conclude, exit_code, required_subjects
from gainwright_proof.exploration import Vacuity
from gainwright_proof.exploration.shortened import shortened_trial
from gainwright_proof.exploration.vacuity import premises
from gainwright_proof.verdict import Verdict

pytestmark = pytest.mark.usefixtures("scratch_cache")

TRIAL = shortened_trial(100)


def requirement(kind: RequirementKind, formula: str, trigger: str = "", why: str = ""):
    begins = parse(trigger, requirement=True) if trigger else None
    return Requirement(
        "inserted", "", "", kind, parse(formula, requirement=True), begins,
        5 if trigger else NEVER, "", why,
    )  # fmt: skip


INVARIANT, STEP = RequirementKind.INVARIANT, RequirementKind.STEP
VACUOUS = {
    "a premise that never holds": requirement(
        INVARIANT, "brake_open and not torque_request implies gain_rung == 0"),
    "one of two premises": requirement(
        INVARIANT, "(pulse_request implies motion_enable) and "
        "(pulse_request and not brake_open implies gain_rung == 1)"),
    "a premise that needs an input as well": requirement(
        STEP, "pulse_request and not drive_ready and gain_rung > 31 implies next(gain_rung) == 0"),
    "a trigger that never comes": requirement(
        RequirementKind.RESPONSE, "gain_rung == 0", "in_state(idle) and brake_open"),
    "a trigger of a bounded requirement": requirement(
        RequirementKind.BOUNDED, "in_state(idle)", "in_state(finished) and torque_request"),
    "a premise behind a premise": requirement(
        INVARIANT, "torque_request implies (in_state(idle) implies gain_rung == 3)"),
}  # fmt: skip


SEEN = {
    "a trigger": requirement(RequirementKind.RESPONSE, "not torque_request", "torque_request"),
    "an input that no row looks at there": requirement(
        STEP, "in_state(idle) and ring_level > 60000 implies next(gain_rung) == 0"),
}  # fmt: skip
WHY = "kept for a later stage"


@pytest.fixture(scope="module")
def findings():
    """All at once: one exploration serves every requirement."""
    added = {
        **{name: replace(one, id=name) for name, one in (VACUOUS | SEEN).items()},
        **{
            f"{name}, with a reason": replace(one, id=f"{name}, with a reason", vacuous_because=WHY)
            for name, one in VACUOUS.items()
        },
    }
    found = Vacuity(replace(TRIAL, requirements=tuple(added.values()))).findings()
    return {finding.subject.removeprefix("premise/"): finding for finding in found}


@pytest.mark.parametrize("name", VACUOUS)
def test_vacuous(name, findings):
    assert findings[name].verdict is Verdict.UNFINISHED
    assert findings[name].detail.startswith("Vacuous: ")
    assert exit_code(conclude([findings[name]]), required_subjects(TRIAL)) == 3


@pytest.mark.parametrize("name", VACUOUS)
def test_vacuous_with_a_reason(name, findings):
    finding = findings[f"{name}, with a reason"]
    assert finding.verdict is Verdict.PROVED
    assert finding.detail.endswith(WHY)


def test_seen_with_the_tick(findings):
    # Released in the first tick, started by the second; the trigger is over the tick after it.
    finding = findings["a trigger"]
    assert (finding.verdict, finding.figures["first_tick"]) == (Verdict.PROVED, 3)


def test_input_that_no_row_looks_at_there_is_tried(findings):
    """A premise may need a value of an input that makes no row differ."""
    assert findings["an input that no row looks at there"].verdict is Verdict.PROVED


@pytest.mark.slow
def test_shipped_trial_speaks_of_what_occurs():
    findings = Vacuity(TRIAL).findings()
    assert {finding.verdict for finding in findings} == {Verdict.PROVED}
    spoken = {r.id for r in TRIAL.requirements if premises(r)}
    assert {finding.subject for finding in findings} == {f"premise/{name}" for name in spoken}
