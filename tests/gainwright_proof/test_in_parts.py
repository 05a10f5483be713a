"""A trial too large to be explored as it is gets verdicts from slices, which say so."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gainwright.language.model import RequirementKind
from gainwright.language.parse import parse
from gainwright_proof.evidence.conclusion import conclude
from gainwright_proof.exploration import Limits, explore
from gainwright_proof.exploration.slices import Influence
from gainwright_proof.methods import EXPLORATION_IN_PARTS
from gainwright_proof.verdict import Verdict

from .test_short_waits import WAITING
from .test_short_waits import trial as original_trial

pytestmark = pytest.mark.usefixtures("scratch_cache")
TOO_FEW = Limits(nodes=60)
"""The trial keeps more than 100 states, its slices without ``memo`` fewer than 40."""


def trial():
    """Return a trial with a variable that multiplies its states, and matters to nothing."""
    text = WAITING.replace("[outputs]", MEMO + "[outputs]", 1)
    return original_trial(
        text.replace(
            'rounds = "rounds + 1" }',
            'rounds = "rounds + 1", memo = "if go then memo + 1 else 0" }',
        )
    )


MEMO = """memo = { kind = "integer", range = [0, 9], initial = 0, meaning = "Looked at by nothing" }

"""


def with_requirement(kind: RequirementKind, formula: str, trigger: str = "", within: int = -1):
    original = trial()
    added = replace(
        original.requirements[0], id="added", kind=kind, formula=parse(formula, requirement=True),
        trigger=parse(trigger, requirement=True) if trigger else None, within_ticks=within,
    )  # fmt: skip
    return replace(original, requirements=(*original.requirements, added))


def in_parts(changed):
    found = explore(changed, TOO_FEW, premises=True)
    assert found.stopped
    return found


def test_what_cannot_matter_is_left_out():
    influence = Influence(trial())
    assert influence.control == {"time"}
    first, second = influence.slices()
    assert (first.without, [r.id for r in first.trial.requirements]) == (
        ("rounds", "memo"),
        ["counted"],
    )
    assert (second.without, [r.id for r in second.trial.requirements]) == (("memo",), ["bounded"])


def test_what_decides_through_another_variable_matters():
    changed = trial()
    rows = tuple(
        replace(row, actions={**row.actions, "time": parse("rounds")}) if row.id == "ready" else row
        for row in changed.rows
    )
    assert Influence(replace(changed, rows=rows)).control == {"time", "rounds"}


def test_each_verdict_says_what_was_left_out():
    found = in_parts(trial())
    verdicts = {c.subject: c.verdict for c in conclude(found.findings)}
    for subject in ("counted", "bounded", "row/ready", "single_hit/work", "end_stays_reachable"):
        assert verdicts[subject] is Verdict.PROVED
    assert verdicts["exported_code_as_specified"] is Verdict.TESTED
    details = {f.subject: f.detail for f in found.findings if f.method == EXPLORATION_IN_PARTS}
    assert details["counted"].startswith("Sliced: without rounds, memo. ")
    assert details["bounded"].startswith("Sliced: without memo. ")
    assert [f.verdict for f in found.premises] == [Verdict.PROVED]


def test_a_violation_is_found_in_a_slice():
    found = in_parts(with_requirement(RequirementKind.STEP, "next(rounds) <= 2"))
    verdicts = {c.subject: c.verdict for c in conclude(found.findings)}
    assert verdicts["added"] is Verdict.REFUTED


@pytest.mark.parametrize(("within", "verdict"), [(301, Verdict.PROVED), (300, Verdict.REFUTED)])
def test_times_are_kept(within, verdict):
    changed = with_requirement(
        RequirementKind.BOUNDED, "in_state(rest)", "in_state(work)", within=within
    )
    verdicts = {c.subject: c.verdict for c in conclude(in_parts(changed).findings)}
    assert verdicts["added"] is verdict


def test_a_premise_that_never_holds_is_said():
    changed = with_requirement(RequirementKind.STEP, "time > 300 implies next(rounds) == 0")
    (finding,) = [f for f in in_parts(changed).premises if f.subject == "premise/added"]
    assert finding.verdict is Verdict.UNFINISHED
    assert "Vacuous" in finding.detail
