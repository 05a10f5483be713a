"""What is proved where variables are forgotten holds; what needs them is not proved so."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gainwright.language.model import RequirementKind
from gainwright.language.parse import parse
from gainwright_proof.exploration.forgetting import Forgetting, must_be_kept
from gainwright_proof.exploration.forgotten import forgetting_findings
from gainwright_proof.methods import EXPLORATION_IN_PARTS
from gainwright_proof.verdict import Finding, Verdict

from .test_short_waits import trial as waiting_trial

pytestmark = pytest.mark.usefixtures("scratch_cache")


def required(name, kind, formula, trigger="", within=-1):
    return replace(
        waiting_trial().requirements[0], id=name, kind=kind, within_ticks=within,
        formula=parse(formula, requirement=True),
        trigger=parse(trigger, requirement=True) if trigger else None,
    )  # fmt: skip


STEP, INVARIANT, BOUNDED = (
    RequirementKind.STEP,
    RequirementKind.INVARIANT,
    RequirementKind.BOUNDED,
)
TRUE = (
    required("left_when_over", STEP, "in_state(work) and time < 300 implies next(in_state(work))"),
    required("shown", INVARIANT, "busy == in_state(work)"),
    required("in_range", INVARIANT, "time <= 300"),
    required("in_time", BOUNDED, "in_state(rest)", "in_state(work)", 301),
)
FALSE = (
    required("too_early", STEP, "in_state(work) and time < 301 implies next(in_state(work))"),
    required("never_works", INVARIANT, "not busy"),
    required("below", INVARIANT, "time <= 299"),
    required("too_late", BOUNDED, "in_state(rest)", "in_state(work)", 300),
)


def proved(*requirements, before=()):
    changed = replace(waiting_trial(), requirements=requirements)
    found = forgetting_findings(changed, before)
    assert {f.method for f in found} <= {EXPLORATION_IN_PARTS}
    assert not any(f.verdict is Verdict.REFUTED for f in found)
    return {f.subject: f for f in found if f.verdict is Verdict.PROVED}


def test_what_holds_is_proved_and_nothing_else():
    found = proved(*TRUE, *FALSE)
    assert found.keys() == {r.id for r in TRUE}
    assert found["shown"].detail.startswith("With the variables none alone")
    assert "rounds" not in found["in_range"].detail
    assert found["in_time"].figures["longest_ticks"] == 301


def test_what_was_decided_is_not_asked_again():
    before = [Finding("shown", "another way", Verdict.PROVED, "")]
    assert proved(TRUE[1], before=before) == {}


def test_what_needs_a_variable_keeps_it():
    trial = waiting_trial()
    assert must_be_kept(trial, TRUE[0]) == frozenset()
    assert must_be_kept(trial, TRUE[2]) == {"time"}
    after = required("after", STEP, "next(rounds) >= rounds")
    assert must_be_kept(trial, after) == {"rounds"}


def test_one_comparison_is_one_input_wherever_it_is_read():
    """The condition of the row and the formula speak of the same tick."""
    part = Forgetting(waiting_trial(), frozenset()).trial([TRUE[0]])
    assert part.variables == ()
    names = {signal.name for signal in part.inputs} - {s.name for s in waiting_trial().inputs}
    assert names and all(name.startswith("comparison_") for name in names)
