"""The shipped trial: how it is stopped, fails, waits and is begun again."""

from __future__ import annotations

import pytest

from .shipped_walk import BURST, TRIAL, Walk, walk_to

MOVING = ["approach", "move", "hear_own_noise", "pulse", "detect", "verify_move", "verify_noise"]
MOVING += ["verify_pulse", "verify_detect"]


@pytest.mark.parametrize("state", MOVING)
@pytest.mark.parametrize("change", [{"run_permit": 0}, {"inside_travel_window": 0}])
def test_stop_demand_stops_with_torque_until_the_brake_has_closed(state, change):
    walk = walk_to(state)
    walk.tick(**change)
    outputs = walk.machine.outputs()
    assert walk.machine.state == "stop_axis" and walk.rung == 0
    assert outputs["torque_request"] and outputs["brake_open"] and not outputs["motion_enable"]
    stopping = walk.until("close_brake", **change)
    assert stopping == TRIAL.constant("standstill_minimum_ticks") + 1
    assert walk.machine.outputs()["torque_request"]
    closing = walk.until("aborted", **change)
    assert closing == TRIAL.constant("brake_close_ticks") + 1
    assert not walk.machine.outputs()["torque_request"]
    assert walk.reason == ("permit_lost" if "run_permit" in change else "window_left")


def test_axis_that_does_not_stop_is_a_fault():
    walk = walk_to("detect")
    walk.tick(run_permit=0)
    assert walk.until("close_brake", standstill=0) == TRIAL.constant("stop_timeout_ticks") + 1
    walk.until("fault")
    assert walk.reason == "did_not_stop"


@pytest.mark.parametrize("state", ["stop_axis", "close_brake"])
@pytest.mark.parametrize("change", [{"run_permit": 0}, {"inside_travel_window": 0}, BURST])
def test_result_is_lost_by_what_happens_while_stopping(state, change):
    """Also if it lasts for one tick only: a permit given back does not bring the result back."""
    walk = walk_to("verify_detect")
    walk.until(state)
    assert walk.machine.variables["verified"]
    walk.tick(**change)
    assert not walk.machine.variables["verified"] and walk.rung == 0
    walk.until("aborted")
    assert walk.reason in ("permit_lost", "window_left", "oscillated_while_stopping")


@pytest.mark.parametrize(
    ("state", "then"), [("energise", "aborted"), ("open_brake", "close_brake")]
)
def test_burst_before_the_first_move_ends_it(state, then):
    walk = walk_to(state)
    walk.tick(**BURST)
    assert walk.machine.state == then and walk.reason == "oscillating_at_start"


@pytest.mark.parametrize(
    "state", ["energise", "open_brake", *MOVING, "back_off", "stop_axis", "close_brake"]
)
@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"drive_ready": 0}, "drive_failed"),
        ({"feedback_valid": 0, "overspeed": 1}, "drive_failed"),
        ({"overspeed": 1}, "speed_too_high"),
        ({"following_error": 256}, "following_error_too_large"),
        ({"still_ticks": 800}, "feedback_frozen"),
        ({"still_ticks": 20, "torque_share": 96, "overspeed": 1}, "feedback_frozen"),
        ({"strained_ticks": 500}, "strained_too_long"),
    ],
)
def test_fault_withdraws_torque_and_closes_the_brake_in_the_same_tick(state, change, reason):
    if state in ("stop_axis", "close_brake"):
        walk = walk_to("detect")
        walk.tick(run_permit=0)
        walk.until(state)
    else:
        walk = walk_to(state)
    walk.tick(**change)
    outputs = walk.machine.outputs()
    assert outputs["fault_latched"] and walk.rung == 0 and walk.reason == reason
    assert not (outputs["torque_request"] or outputs["brake_open"] or outputs["motion_enable"])
    # Latched: neither the end of the cause nor a start brings it back.
    for _ in range(3):
        walk.tick()
        walk.tick(start_request=1)
        assert walk.machine.state == "fault"


@pytest.mark.parametrize(
    "nearly",
    [
        {"following_error": 255},
        {"still_ticks": 799, "torque_share": 95},
        {"still_ticks": 19, "torque_share": 511},
        {"strained_ticks": 499},
    ],
)
def test_what_stays_within_its_limit_is_no_fault(nearly):
    walk = walk_to("detect")
    walk.tick(**nearly)
    assert walk.machine.state in ("detect", "move")


def test_reset_and_start_must_be_fresh():
    walk = Walk()
    walk.tick(start_request=1)  # held since power-on
    assert walk.machine.state == "idle"
    walk.started().tick(drive_ready=0, reset_request=1)
    for _ in range(3):
        walk.tick(reset_request=1)  # held since before the fault
        assert walk.machine.state == "fault"
    walk.tick()
    walk.tick(reset_request=1, run_permit=0)  # used up without permit
    walk.tick(reset_request=1)
    assert walk.machine.state == "fault"
    walk.tick()
    walk.tick(reset_request=1, start_request=1)
    assert walk.machine.state == "idle"
    walk.tick(start_request=1)  # held since before the reset
    assert walk.machine.state == "idle"
    walk.tick()
    walk.tick(start_request=1)
    assert walk.machine.state == "energise"


@pytest.mark.parametrize(
    "missing", ["run_permit", "drive_ready", "feedback_valid", "inside_travel_window", "standstill"]
)
def test_early_start_is_used_up(missing):
    walk = Walk()
    walk.tick()
    walk.tick(**{missing: 0, "start_request": 1})
    walk.tick(start_request=1)
    assert walk.machine.state == "idle"


@pytest.mark.parametrize(
    ("state", "constant", "inputs", "row"),
    [
        ("approach", "approach_timeout_ticks", {"target_reached": 0}, "approach_takes_too_long"),
        ("move", "move_timeout_ticks", {"cruising": 0}, "move_takes_too_long@move"),
        ("back_off", "back_off_timeout_ticks", {"burst_level": 100}, "axis_does_not_settle"),
        ("back_off", "oscillation_limit_ticks", {"torque_saturated": 1}, "oscillation_stays"),
        ("back_off", "oscillation_limit_ticks", BURST, "oscillation_stays"),
    ],
)
def test_every_wait_has_an_end(state, constant, inputs, row):
    walk = walk_to(state)
    ticks = 0
    while walk.machine.state == state:
        walk.tick(**inputs)
        ticks += 1
    assert ticks == TRIAL.constant(constant) + 1
    assert walk.rows[-1] == row
    walk.until("aborted")


def test_axis_that_sinks_when_the_brake_opens_is_a_fault():
    walk = walk_to("open_brake")
    ticks = walk.until("close_brake", standstill=0)
    assert ticks == TRIAL.constant("open_brake_timeout_ticks") + 1
    assert walk.rows[-1] == "axis_does_not_rest"
    walk.until("fault")
    assert walk.reason == "axis_not_at_rest"
