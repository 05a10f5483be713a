"""Single-hit tables (ISO 5806), ranges and overflow: inserted faults and smallest examples."""

from __future__ import annotations

import tomllib
from dataclasses import replace

from gainwright.language.expression import Binary, Integer, Operator, Reference
from gainwright.language.load import trial_from_document
from gainwright.language.model import Trial
from gainwright.language.parse import parse
from gainwright_proof.induction.prove import prove
from gainwright_proof.verdict import Finding, Verdict

from ..shared.small_trial import SMALL

TRIAL = trial_from_document(tomllib.loads(SMALL), "small.toml")


def _changed(row_id: str, **changes) -> Trial:
    rows = tuple(replace(r, **changes) if r.id == row_id else r for r in TRIAL.rows)
    return replace(TRIAL, rows=rows)


def _finding(trial: Trial, subject: str) -> Finding:
    (found,) = [f for f in prove(trial).findings if f.subject == subject]
    return found


def test_tables_of_the_small_trial_are_single_hit():
    findings = {f.subject: f for f in prove(TRIAL).findings}
    for subject in ("single_hit/rest", "single_hit/search", "trial/no_overflow", "trial/ranges"):
        assert findings[subject].verdict is Verdict.PROVED
        assert findings[subject].obligations
    assert findings["trial/ranges"].obligations[0].name.startswith("ranges/")


def test_gap_is_shown_by_the_smallest_example():
    trial = replace(TRIAL, rows=tuple(r for r in TRIAL.rows if r.id != "onset"))
    found = _finding(trial, "single_hit/search")
    assert found.verdict is Verdict.REFUTED
    trace = found.counterexample
    assert trace.first.state == "search"
    assert not trace.from_power_on
    # Everything at its first value, but what has to be: asked for, and just too loud (level > 50).
    assert trace.first.variables == {v.name: v.initial for v in TRIAL.variables}
    assert trace.ticks[-1].inputs == {"go": 1, "level": 51}
    assert trace.ticks[-1].row == ""
    assert "no row holds" in found.detail
    assert "True conditions: wanted, loud." in found.detail


def test_overlap_names_both_rows_and_the_conditions():
    found = _finding(_changed("raise", unless=("late",)), "single_hit/search")
    assert found.verdict is Verdict.REFUTED
    assert "onset, raise holds" in found.detail
    assert found.counterexample.ticks[-1].inputs == {"go": 1, "level": 51}


def test_contradictory_conditions_are_no_overlap_because_they_are_shown_to_be():
    # low and high cannot hold together, so rows that require one of them each do not overlap;
    # what no row covers is neither low nor high.
    conditions = (
        *TRIAL.conditions,
        replace(TRIAL.conditions[1], name="low", expression=parse("level < 3")),
        replace(TRIAL.conditions[1], name="high", expression=parse("level > 5")),
    )
    raise_row = next(r for r in TRIAL.rows if r.id == "raise")
    split = [
        replace(raise_row, id="raise_low", when=("wanted", "low")),
        replace(raise_row, id="raise_high", when=("wanted", "high")),
    ]
    rows = (*(r for r in TRIAL.rows if r.id != "raise"), *split)
    trial = replace(TRIAL, conditions=conditions, rows=rows)
    found = _finding(trial, "single_hit/search")
    assert found.verdict is Verdict.REFUTED
    assert "no row holds" in found.detail
    assert found.counterexample.ticks[-1].inputs == {"go": 1, "level": 3}
    middle = replace(raise_row, id="raise_middle", unless=("loud", "late", "low", "high"))
    assert _finding(replace(trial, rows=(*rows, middle)), "single_hit/search").verdict is (
        Verdict.PROVED
    )


def test_tables_are_judged_beyond_what_is_reachable():
    # time is never 9 in rest, but the table of rest must cover it all the same.
    beyond = replace(TRIAL.conditions[2], name="beyond", expression=parse("time >= 9"))
    rows = tuple(
        replace(r, unless=("wanted", "beyond")) if r.id == "stay" else r for r in TRIAL.rows
    )
    trial = replace(TRIAL, conditions=(*TRIAL.conditions, beyond), rows=rows)
    found = _finding(trial, "single_hit/rest")
    assert found.verdict is Verdict.REFUTED
    assert found.counterexample.first.variables["time"] == 9


def test_overflow_and_outputs_out_of_range_are_not_proved():
    # Such trials do not load; here they are made behind the loader's back.
    huge = Binary(Operator.MULTIPLY, Reference("level"), Integer(2**26))
    loud = replace(TRIAL.conditions[1], expression=Binary(Operator.GREATER, huge, Integer(0)))
    conditions = tuple(loud if c.name == "loud" else c for c in TRIAL.conditions)
    assert _finding(replace(TRIAL, conditions=conditions), "trial/no_overflow").verdict is (
        Verdict.UNFINISHED
    )
    outputs = tuple(replace(o, high=6) if o.name == "applied" else o for o in TRIAL.outputs)
    found = _finding(replace(TRIAL, outputs=outputs), "trial/ranges")
    assert found.verdict is Verdict.UNFINISHED
    assert "ranges/outputs" in found.detail


def test_assignments_that_their_range_cuts_are_named():
    found = _finding(TRIAL, "trial/assignments")
    assert found.verdict is Verdict.PROVED
    assert found.figures["may_be_cut"] == 0
    # Without the min, the rung of the top is raised to beyond its range and stops there.
    raised = replace(
        next(r for r in TRIAL.rows if r.id == "raise"), actions={"rung": parse("rung + 1")}
    )
    rows = tuple(raised if r.id == "raise" else r for r in TRIAL.rows)
    found = _finding(replace(TRIAL, rows=rows), "trial/assignments")
    assert found.verdict is Verdict.PROVED
    assert found.figures["may_be_cut"] == 1
    assert "rung in raise" in found.detail
