"""Reference machine, Python code of expressions and monitors."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainwright.language.load import trial_from_document
from gainwright.language.model import Condition, Row, Trial
from gainwright.language.parse import parse
from gainwright.semantics.evaluate import Moment, Step, evaluate, evaluate_over
from gainwright.semantics.machine import InputValueError, NotSingleHitError, ReferenceMachine
from gainwright.semantics.monitor import Monitor, Snapshot
from gainwright.semantics.python_code import ARRAY, CodeWriter
from gainwright.semantics.run_monitor import Run, RunMonitor

from ..shared.small_trial import edited
from .test_language_typing import ALL_VALUES, boolean_texts, integer_texts


@cache
def _trial(*edits: tuple[str, str]) -> Trial:
    return trial_from_document(tomllib.loads(edited(*edits)), "small.toml")


def _snapshot(machine: ReferenceMachine) -> Snapshot:
    return Snapshot(machine.state, dict(machine.variables), machine.outputs())


# Python code of expressions ---------------------------------------------------------------------


@given(integer_texts | boolean_texts)
def test_scalar_code_is_the_definition(text):
    tree = parse(text)
    function = CodeWriter([], []).function([tree])
    for values in ALL_VALUES:
        assert function(values, 0, {}, 0)[0] == evaluate(tree, values)


@given(integer_texts | boolean_texts)
def test_array_code_is_the_definition(text):
    tree = parse(text)
    columns = {name: np.array([row[name] for row in ALL_VALUES]) for name in ALL_VALUES[0]}
    function = CodeWriter([], [], ARRAY, frozenset("t")).function([tree])
    computed = np.broadcast_to(function(columns, 0, {}, 0)[0], (len(ALL_VALUES),))
    assert [int(value) for value in computed] == [evaluate(tree, row) for row in ALL_VALUES]


STATES = ["rest", "move", "fault"]
CONDITIONS = [
    Condition("loud", parse("level > 50"), ""),
    Condition("trouble", parse("loud or not ready"), ""),
]
formula_texts = st.recursive(
    st.sampled_from(
        [
            "trouble",
            "loud",
            "next(up)",
            "next(rung) > rung",
            "in_state(move, rest)",
            "next(in_state(fault))",
            "next(up) != up",
            "true",
        ]
    ),
    lambda inner: (
        st.builds("({} {} {})".format, inner, st.sampled_from(["and", "or", "implies"]), inner)
        | inner.map("(not {})".format)
    ),
    max_leaves=6,
)


@given(
    formula_texts,
    st.integers(0, 100),
    st.booleans(),
    st.tuples(*[st.integers(0, 5)] * 2, *[st.booleans()] * 2, *[st.integers(0, 2)] * 2),
)
def test_code_of_step_formulas_is_the_definition(text, level, ready, kept):
    rung, rung_after, up, up_after, state, state_after = kept
    tree = parse(text, requirement=True)
    before = {"level": level, "ready": int(ready), "rung": rung, "up": int(up)}
    after = {"rung": rung_after, "up": int(up_after)}
    booleans = dict(before)
    for condition in CONDITIONS:
        booleans[condition.name] = evaluate(condition.expression, booleans)
    expected = evaluate_over(
        tree, Step(Moment(booleans, STATES[state]), Moment(after, STATES[state_after]))
    )
    scalar = CodeWriter(STATES, CONDITIONS).function([tree])
    array = CodeWriter(STATES, CONDITIONS, ARRAY, frozenset({"ready", "up"})).function([tree])
    assert scalar(before, state, after, state_after)[0] == expected
    columns = [
        {name: np.array([value]) for name, value in part.items()} for part in (before, after)
    ]
    assert int(np.all(array(columns[0], state, columns[1], state_after)[0])) == expected


# Reference machine ------------------------------------------------------------------------------


def test_rows_states_and_outputs():
    machine = ReferenceMachine(_trial())
    assert machine.outputs() == {"torque": 0, "applied": 0}
    assert machine.tick({"go": 0, "level": 0}).id == "stay"
    assert machine.tick({"go": 1, "level": 99}).id == "begin"
    assert machine.state == "search" and machine.outputs()["torque"] == 1
    assert [machine.tick({"go": 1, "level": 0}).id for _ in range(3)] == ["raise"] * 3
    assert machine.variables["rung"] == 3 and machine.outputs()["applied"] == 3
    assert machine.tick({"go": 1, "level": 51}).id == "onset"
    # limit takes the rung of before, although rung is written in the same tick.
    assert machine.variables == {"rung": 1, "limit": 3, "result": 1, "found": 1, "time": 3}


def test_all_right_hand_sides_are_read_before_any_is_written():
    machine = ReferenceMachine(
        _trial(("actions = { rung = 0, time = 0 }", 'actions = { rung = "limit", limit = "rung" }'))
    )
    machine.restore("rest", {**machine.variables, "rung": 2, "limit": 5})
    machine.tick({"go": 1, "level": 0})
    assert (machine.variables["rung"], machine.variables["limit"]) == (5, 2)


def test_assignment_saturates_and_says_so():
    machine = ReferenceMachine(
        _trial(('rung = "min(rung + 1, top)", time', 'rung = "rung + 3", time'))
    )
    machine.tick({"go": 1, "level": 0})
    rungs, saturated = [], []
    for _ in range(4):
        machine.tick({"go": 1, "level": 0})
        rungs.append(machine.variables["rung"])
        saturated.append(machine.saturated)
    assert rungs == [3, 6, 7, 7]
    assert saturated == [frozenset(), frozenset(), {"rung"}, {"rung"}]


def test_saturation_at_the_lower_end():
    machine = ReferenceMachine(
        _trial(('result = "max(rung - 2, 0)", rung', 'result = "rung - 2", rung'))
    )
    machine.tick({"go": 1, "level": 0})
    machine.tick({"go": 1, "level": 99})
    assert machine.variables["result"] == 0 and machine.saturated == {"result"}


@pytest.mark.parametrize(
    ("inputs", "said"),
    [
        ({"go": 1}, "no value for the input 'level'"),
        ({"go": 1, "level": 101}, "'level' = 101 is outside 0 to 100"),
        ({"go": 2, "level": 0}, "'go' = 2 is outside 0 to 1"),
        ({"go": 1, "level": 0, "speed": 3}, "'speed' is no input"),
    ],
)
def test_wrong_inputs_change_nothing(inputs, said):
    machine = ReferenceMachine(_trial())
    before = _snapshot(machine)
    with pytest.raises(InputValueError, match=said):
        machine.tick(inputs)
    assert _snapshot(machine) == before


def _with_rows(trial: Trial, change) -> Trial:
    return replace(trial, rows=tuple(change(row) for row in trial.rows))


def test_two_rows_or_none_raise_and_change_nothing():
    def overlapping(row: Row) -> Row:
        return replace(row, unless=()) if row.id == "raise" else row

    def gaping(row: Row) -> Row:
        return replace(row, when=("wanted", "late")) if row.id == "raise" else row

    for change, said in (
        (overlapping, "state search: rows onset, raise hold when wanted, loud holds"),
        (gaping, "state search: no row holds when wanted holds"),
    ):
        machine = ReferenceMachine(_with_rows(_trial(), change))
        machine.tick({"go": 1, "level": 0})
        before = _snapshot(machine)
        with pytest.raises(NotSingleHitError, match=said):
            machine.tick({"go": 1, "level": 60 if change is overlapping else 0})
        assert _snapshot(machine) == before


def test_reset_and_restore():
    machine = ReferenceMachine(_trial())
    first = _snapshot(machine)
    machine.tick({"go": 1, "level": 0})
    machine.tick({"go": 1, "level": 0})
    later = _snapshot(machine)
    machine.reset()
    assert _snapshot(machine) == first
    machine.restore(later.state, later.variables)
    assert _snapshot(machine) == later


# Monitors ---------------------------------------------------------------------------------------


_RUN_MONITORS: dict[str, RunMonitor] = {}


def _run_monitor(trial: Trial) -> RunMonitor:
    if trial.digest not in _RUN_MONITORS:
        _RUN_MONITORS[trial.digest] = RunMonitor(trial)
    return _RUN_MONITORS[trial.digest]


def _watched(trial: Trial, ticks: list[tuple[int, int]], judged_by: Trial | None = None):
    """Run a trial under (go, level) and return the violations of both monitors."""
    machine = ReferenceMachine(trial)
    monitor = Monitor(judged_by or trial, _snapshot(machine))
    violations = list(monitor.first_violations)
    moments = [_snapshot(machine)]
    for go, level in ticks:
        machine.tick({"go": go, "level": level})
        moments.append(_snapshot(machine))
        violations += monitor.observe({"go": go, "level": level}, moments[-1])
    run = _recorded(trial, moments, ticks)
    at_once = _run_monitor(judged_by or trial).violations(run)
    for length in (1, 3, 7):
        assert _in_parts(judged_by or trial, run, length) == at_once
    return violations, at_once


def _recorded(trial: Trial, moments: list[Snapshot], ticks: list[tuple[int, int]]) -> Run:
    index = {state.name: i for i, state in enumerate(trial.states)}
    return Run(
        states=np.array([index[m.state] for m in moments]),
        variables=np.array([[m.variables[v.name] for v in trial.variables] for m in moments]),
        outputs=np.array([[m.outputs[o.name] for o in trial.outputs] for m in moments]),
        inputs=np.array(ticks).reshape(-1, 2),
    )


def _in_parts(trial: Trial, run: Run, length: int):
    """Judge a run in parts of so many ticks."""
    watch, found = _run_monitor(trial).watch(), []
    for start in range(0, max(1, len(run.inputs)), length):
        stop = start + length
        part = Run(
            run.states[start : stop + 1],
            run.variables[start : stop + 1],
            run.outputs[start : stop + 1],
            run.inputs[start:stop],
        )
        found += watch.add(part)
    return found


tick_lists = st.lists(
    st.tuples(st.integers(0, 4).map(lambda n: int(n > 0)), st.sampled_from([0, 0, 0, 50, 51])),
    max_size=40,
)


@given(tick_lists)
def test_good_trial_violates_nothing(ticks):
    assert _watched(_trial(), ticks) == ([], [])


BROKEN = {
    "result_below_limit": (
        'result = "max(rung - 2, 0)", rung = "max(rung - 2, 0)"',
        'result = "rung", rung = "max(rung - 2, 0)"',
    ),
    "loud_drops": (
        'when = ["wanted", "loud"]\nto = "rest"\nactions = { limit = "rung", ',
        'when = ["wanted", "loud"]\nactions = { limit = "rung", ',
    ),
    "ends": ('when = ["wanted", "late"]\nunless = ["loud"]\nto = "rest"',
             'when = ["wanted", "late"]\nunless = ["loud"]'),
}  # fmt: skip
WALKS = {
    "result_below_limit": [(1, 0)] * 5 + [(1, 99)],
    "loud_drops": [(1, 0)] * 5 + [(1, 99)],
    "ends": [(1, 0)] * 14,
}


@pytest.mark.parametrize("requirement", sorted(BROKEN))
def test_monitors_catch_planted_mistakes(requirement):
    found, at_once = _watched(_trial(BROKEN[requirement]), WALKS[requirement])
    assert [v.requirement_id for v in found] == [requirement]
    assert at_once == found


def test_violation_says_tick_and_values():
    (violation,), _ = _watched(_trial(BROKEN["result_below_limit"]), [(1, 0)] * 5 + [(1, 99)])
    assert violation.tick == 6
    assert violation.values == {"state": "rest", "found": 1, "result": 4, "limit": 4}


def test_violation_of_a_step_says_both_sides_and_conditions():
    other = _trial(('"next(rung) > rung implies not loud', '"next(rung) < rung implies not loud'))
    (violation,), at_once = _watched(_trial(), [(1, 0)] * 4 + [(1, 99)], judged_by=other)
    assert violation == at_once[0]
    assert violation.tick == 5
    assert violation.values["next(rung)"] == 1 and violation.values["rung"] == 3
    assert violation.values["loud"] == 1


def test_an_input_out_of_its_range_is_judged_as_the_tick_takes_it():
    """The nearest value of the range: a level of 250 is 100, and that is allowed here."""
    calm = '"next(rung) > rung implies not loud and found == next(found)"'
    machine, judged = ReferenceMachine(_trial()), '"next(rung) < rung implies level == 100"'
    moments = [_snapshot(machine)]
    for level in (0, 0, 0, 100):
        machine.tick({"go": 1, "level": level})
        moments.append(_snapshot(machine))
    run = _recorded(_trial(), moments, [(1, 0), (1, 0), (1, 0), (1, 250)])
    assert _run_monitor(_trial((calm, judged))).violations(run) == []
    tighter = _trial((calm, judged.replace("100", "99")))
    (violation,) = _run_monitor(tighter).violations(run)
    assert violation.values["level"] == 100


def test_bounded_requirement_counts_ticks_exactly():
    """The search lasts patience + 1 = 11 ticks at most: 11 pass, a bound of 10 is violated."""
    walk = [(1, 0)] * 13
    assert _watched(_trial(), walk) == ([], [])
    tighter = _trial(('within_ticks = "patience + 1"', "within_ticks = 10"))
    found, at_once = _watched(_trial(), walk, judged_by=tighter)
    assert [(v.requirement_id, v.tick) for v in found] == [("ends", 11)] and at_once == found


def test_response_counts_the_triggering_tick():
    slow = _trial(
        ('formula = "not torque"\nwithin_ticks = 1', 'formula = "torque"\nwithin_ticks = 2')
    )
    walk = [(1, 0), (1, 0), (1, 99), (0, 0), (0, 0)]
    found, at_once = _watched(_trial(), walk, judged_by=slow)
    assert [(v.requirement_id, v.tick) for v in found] == [("loud_drops", 4)]
    assert at_once == found


def test_unfinished_wait_is_no_violation():
    assert _watched(_trial(BROKEN["ends"]), [(1, 0)] * 11) == ([], [])


def test_violation_at_power_on():
    wrong = _trial(('"found implies result + 2 <= limit or result == 0"', '"limit > 0"'))
    found, at_once = _watched(_trial(), [], judged_by=wrong)
    assert [(v.requirement_id, v.tick) for v in found] == [("result_below_limit", 0)]
    assert at_once == found


@given(tick_lists, st.sampled_from(sorted(BROKEN)))
def test_both_monitors_agree(ticks, mistake):
    found, at_once = _watched(_trial(BROKEN[mistake]), ticks)
    first = {v.requirement_id: v for v in reversed(found)}
    assert {v.requirement_id: v for v in at_once} == first
