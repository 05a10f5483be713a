"""Bugs inserted in the trial are found, with shortest runs that replay in both machines."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gainwright.language.expression import Integer
from gainwright.language.parse import parse
from gainwright_proof.exploration import confirms, explore, read_run, replay_run, run_text
from gainwright_proof.exploration.shortened import shortened_trial
from gainwright_proof.verdict import Verdict

from ..shared.requirements import only

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("scratch_cache")]

TRIAL = shortened_trial(100)


def edited(row_id: str, **changes):
    """Return the trial with one row changed; ``actions`` are merged, None drops one."""
    rows = []
    for row in TRIAL.rows:
        if row.id == row_id:
            if "actions" in changes:
                merged = {**row.actions, **changes["actions"]}
                actions = {name: value for name, value in merged.items() if value is not None}
                changes = {**changes, "actions": actions}
            row = replace(row, **changes)
        rows.append(row)
    assert tuple(rows) != TRIAL.rows
    return replace(TRIAL, rows=tuple(rows))


BUGS = {
    "gain raised by two": (
        edited("raise_gain", actions={"gain_rung": parse("gain_rung + 2")}),
        {"gain_raised_only_after_quiet", "each_search_move_raises_the_gain"},
    ),
    "fault goes to stop": (
        edited("fault@detect", target="stop_axis"),
        {"no_torque_without_drive_and_feedback"},
    ),
    "time not reset": (
        edited("brake_is_open", actions={"wait": None}),
        {"waits_start_at_zero"},
    ),
    "turning starts the time again": (
        edited("turn_before_cruise@move", actions={"wait": Integer(0)}),
        {"move_ends", "trial_ends", "trial_comes_to_an_end"},
    ),
    "gain kept on stop": (
        edited("stop@detect", actions={"gain_rung": None}),
        {"start_gain_on_every_way_out", "stop_demand_stops_the_motion"},
    ),
    "oscillating overlaps quiet": (
        edited("raise_gain", unless=("fault_present", "stop_demanded", "at_top_rung")),
        {"single_hit/detect"},
    ),
    "nothing left to hold": (
        edited("wait_for_brake", when=("stop_demanded",)),
        {"single_hit/open_brake"},
    ),
    "brake never closes": (
        edited("axis_has_stopped", target="stop_axis"),
        {"stop_is_bounded", "permit_loss_withdraws_torque"},
    ),
    "finished cannot be left": (
        edited("reset@finished", target="finished"),
        {"fresh_request_is_obeyed"},
    ),
}


@pytest.mark.parametrize("name", BUGS)
def test_inserted_bug(name, tmp_path):
    trial, expected = BUGS[name]
    trial = only(trial, expected)
    exploration = explore(trial)
    refuted = {f.subject: f for f in exploration.findings if f.verdict is Verdict.REFUTED}
    assert expected <= set(refuted)
    for subject in sorted(expected):
        run = exploration.runs[subject]
        assert confirms(trial, run, replay_run(trial, run)), subject
        assert refuted[subject].figures["ticks"] == run.ticks
        trace = refuted[subject].counterexample
        assert len(trace.ticks) == run.ticks or not trace.from_power_on
        path = tmp_path / "run.json"
        path.write_text(run_text(run), encoding="utf-8")
        assert read_run(path, trial) == run


def test_shortest_run_to_a_wrong_gain():
    """By hand: release, start, energise, open brake, approach, move, noise, pulse, listen; quiet.

    With the times of this trial, each wait at its shortest: after reset one tick to see the request
    released, one to start, then the waits and one tick each to leave a state.
    """
    trial, expected = BUGS["gain raised by two"]
    run = explore(only(trial, expected)).runs["gain_raised_only_after_quiet"]
    waits = sum(
        trial.constant(name) for name in ("torque_build_up_ticks", "brake_open_ticks")
    ) + 2 * trial.constant("reversal_ticks")
    states_left_by_a_tick_each = 7  # energise, open_brake, approach, move, noise, pulse, detect
    assert run.ticks == 2 + waits + states_left_by_a_tick_each


def test_endless_wait_goes_round_a_circle():
    trial, expected = BUGS["turning starts the time again"]
    exploration = explore(only(trial, expected))
    assert exploration.longest_run_ticks is None
    finding = next(f for f in exploration.findings if f.subject == "trial_comes_to_an_end")
    assert finding.detail.startswith("Sometimes for ever.")
    visited = [tick.after for tick in finding.counterexample.ticks]
    assert visited[-1] in visited[:-1]
