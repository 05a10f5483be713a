"""The shipped trial: its ways through and out, and random inputs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from gainwright.language.load import load_trial
from gainwright.language.model import Trial
from gainwright.language.shipped import shipped_trial_path
from gainwright.semantics.evaluate import evaluate
from gainwright.semantics.machine import ReferenceMachine
from gainwright.semantics.monitor import Monitor, Snapshot

TRIAL = load_trial(shipped_trial_path())
RESTING = {
    "start_request": 0,
    "reset_request": 0,
    "run_permit": 1,
    "drive_ready": 1,
    "feedback_valid": 1,
    "inside_travel_window": 1,
    "torque_saturated": 0,
    "cruising": 0,
    "target_reached": 0,
    "standstill": 1,
    "ring_level": 0,
    "burst_level": 0,
}
LOUD = {"burst_level": TRIAL.constant("burst_threshold")}
RINGING = {"ring_level": TRIAL.constant("silence_threshold")}
MARGIN, TOP = TRIAL.constant("margin_rungs"), TRIAL.constant("top_rung")


class Walk:
    """A machine under watch, with inputs of an axis that does what it is told."""

    def __init__(self, trial: Trial = TRIAL) -> None:
        self.machine = ReferenceMachine(trial)
        self.monitor = Monitor(trial, self.snapshot())
        self.rows: list[str] = []
        assert not self.monitor.first_violations

    def snapshot(self) -> Snapshot:
        return Snapshot(self.machine.state, dict(self.machine.variables), self.machine.outputs())

    def obedient(self) -> dict[str, int]:
        """Inputs of an axis that is at constant speed or arrives when the time is right."""
        moving = self.machine.outputs()["motion_enable"]
        approaching = self.machine.state == "approach"
        return {
            **RESTING,
            "cruising": int(moving and not approaching),
            "target_reached": int(approaching),
            "standstill": int(not moving),
        }

    def tick(self, **changes: int) -> str:
        inputs = {**self.obedient(), **changes}
        self.rows.append(self.machine.tick(inputs).id)
        assert self.monitor.observe(inputs, self.snapshot()) == []
        assert self.machine.saturated == frozenset()
        return self.rows[-1]

    def until(self, state: str, limit: int = 100_000, **changes: int) -> int:
        """Tick until a state is reached and return how many ticks it took."""
        for count in range(limit):
            if self.machine.state == state:
                return count
            self.tick(**changes)
        raise AssertionError(f"{state} not reached, but {self.machine.state}")

    def started(self) -> Walk:
        self.tick()
        self.tick(start_request=1)
        assert self.machine.state == "energise"
        return self

    def at_rung(self, rung: int, state: str = "detect") -> Walk:
        """Search on until a state is reached at a rung."""
        while (self.machine.state, self.machine.variables["gain_rung"]) != (state, rung):
            self.tick()
        return self

    @property
    def rung(self) -> int:
        return self.machine.outputs()["speed_gain_rung"]


def test_onset_by_burst_is_backed_off_verified_and_finished():
    walk = Walk().started().at_rung(40)
    assert walk.tick(**LOUD) == "oscillating_onset@detect"
    assert (walk.machine.state, walk.rung) == ("back_off", 40 - MARGIN)
    walk.until("finished")
    assert walk.rung == 40 - MARGIN
    kept = walk.machine.variables
    assert (kept["limit_rung"], kept["result_rung"], kept["onset_found"]) == (40, 40 - MARGIN, 1)
    # Verified once in each direction, and the brake closed before torque went.
    order = ["first_direction_quiet", "both_directions_quiet", "axis_has_stopped", "finish"]
    assert [row for row in walk.rows if row in order] == order
    assert not walk.machine.outputs()["torque_request"]


def test_onset_by_lasting_ringing():
    walk = Walk().started().at_rung(30)
    ticks = walk.until("back_off", **RINGING)
    assert ticks == TRIAL.constant("listen_timeout_ticks") + 1
    assert walk.rows[-1] == "ringing_onset@detect" and walk.rung == 30 - MARGIN


def test_quiet_to_the_top_keeps_the_margin_without_onset():
    walk = Walk().started()
    walk.until("finished")
    kept = walk.machine.variables
    assert (kept["limit_rung"], kept["result_rung"], kept["onset_found"]) == (TOP, TOP - MARGIN, 0)


def test_gain_goes_up_by_single_rungs_and_direction_alternates():
    walk = Walk().started().at_rung(0, "move")
    seen = []
    while walk.machine.variables["gain_rung"] < 5:
        walk.tick()
        if walk.machine.outputs()["pulse_request"]:
            seen.append((walk.rung, walk.machine.outputs()["target_position"]))
    lower, upper = (TRIAL.constant(f"{end}_end_position") for end in ("lower", "upper"))
    assert seen == [(0, upper), (1, lower), (2, upper), (3, lower), (4, upper)]


def test_failed_verification_lowers_the_limit_by_a_margin_each_time():
    walk = Walk().started().at_rung(60)
    walk.tick(**LOUD)
    expected = 60
    while expected >= MARGIN:
        assert walk.machine.variables["limit_rung"] == expected
        expected -= MARGIN
        assert walk.rung == expected
        walk.until("verify_detect")
        walk.tick(**LOUD)
    assert walk.machine.state == "stop_axis" and walk.rung == 0
    assert walk.rows[-1] == "oscillating_without_margin@verify_detect"
    walk.until("aborted")


@pytest.mark.parametrize("rung", [0, MARGIN - 1])
def test_onset_near_the_start_gain_gives_no_result(rung):
    walk = Walk().started().at_rung(rung)
    assert walk.tick(**LOUD) == "oscillating_without_margin@detect"
    walk.until("aborted")
    assert walk.rung == 0


MOVING = ["approach", "move", "pulse", "detect", "verify_move", "verify_pulse", "verify_detect"]


@pytest.mark.parametrize("state", MOVING)
@pytest.mark.parametrize("change", [{"run_permit": 0}, {"inside_travel_window": 0}])
def test_stop_demand_stops_with_torque_until_the_brake_has_closed(state, change):
    walk = _walk_to(state)
    walk.tick(**change)
    outputs = walk.machine.outputs()
    assert walk.machine.state == "stop_axis" and walk.rung == 0
    assert outputs["torque_request"] and outputs["brake_open"] and not outputs["motion_enable"]
    stopping = walk.until("close_brake", standstill=0, **change)
    assert stopping == TRIAL.constant("stop_timeout_ticks") + 1
    assert walk.machine.outputs()["torque_request"]
    closing = walk.until("aborted", **change)
    assert closing == TRIAL.constant("brake_close_ticks") + 1
    assert not walk.machine.outputs()["torque_request"]


def _walk_to(state: str) -> Walk:
    walk = Walk().started()
    if state.startswith("verify") or state == "back_off":
        walk.at_rung(MARGIN)
        walk.tick(**LOUD)
    walk.until(state)
    return walk


@pytest.mark.parametrize(
    "state", ["energise", "open_brake", *MOVING, "back_off", "stop_axis", "close_brake"]
)
@pytest.mark.parametrize("change", [{"drive_ready": 0}, {"feedback_valid": 0}])
def test_fault_withdraws_torque_and_closes_the_brake_in_the_same_tick(state, change):
    if state in ("stop_axis", "close_brake"):
        walk = _walk_to("detect")
        walk.tick(run_permit=0)
        walk.until(state)
    else:
        walk = _walk_to(state)
    walk.tick(**change)
    outputs = walk.machine.outputs()
    assert outputs["fault_latched"] and walk.rung == 0
    assert not (outputs["torque_request"] or outputs["brake_open"] or outputs["motion_enable"])
    # Latched: neither the end of the cause nor a start brings it back.
    for _ in range(3):
        walk.tick()
        walk.tick(start_request=1)
        assert walk.machine.state == "fault"


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
        ("open_brake", "open_brake_timeout_ticks", {"standstill": 0}, "axis_does_not_rest"),
        ("approach", "approach_timeout_ticks", {"target_reached": 0}, "approach_takes_too_long"),
        ("move", "move_timeout_ticks", {"cruising": 0}, "move_takes_too_long@move"),
        ("back_off", "back_off_timeout_ticks", RINGING, "axis_does_not_settle"),
        ("back_off", "saturation_limit_ticks", {"torque_saturated": 1}, "torque_stays_saturated"),
    ],
)
def test_every_wait_has_an_end(state, constant, inputs, row):
    walk = _walk_to(state)
    ticks = 0
    while walk.machine.state == state:
        walk.tick(**inputs)
        ticks += 1
    assert ticks == TRIAL.constant(constant) + 1
    assert walk.rows[-1] == row
    walk.until("aborted")


def test_loud_while_stopping_drops_the_result():
    walk = _walk_to("verify_detect")
    walk.until("stop_axis")
    assert walk.machine.variables["verified"] and walk.rung == 0  # MARGIN - MARGIN
    walk.tick(standstill=0, **LOUD)
    assert not walk.machine.variables["verified"]
    walk.until("aborted")


# Random inputs on the trial as shipped ----------------------------------------------------------


def _levels() -> st.SearchStrategy[int]:
    return st.sampled_from([0, 255, 256, 65535])


class RandomInputs(RuleBasedStateMachine):
    """Any inputs for any time: no requirement is violated, and the tables mean what they say."""

    @initialize(started=st.booleans())
    def power_on(self, started: bool) -> None:
        self.walk = Walk()
        if started:
            self.walk.started()

    @rule(
        changes=st.fixed_dictionaries(
            {},
            optional={name: st.integers(0, 1) for name in RESTING if not name.endswith("level")}
            | {"ring_level": _levels(), "burst_level": _levels()},
        ),
        times=st.sampled_from([1, 1, 2, 19, 21, 130, 700]),
    )
    def hold(self, changes: dict[str, int], times: int) -> None:
        for _ in range(times):
            self._compared_tick(changes)

    @precondition(lambda self: self.walk.machine.state in ("move", "verify_move", "detect"))
    @rule()
    def quiet_rung(self) -> None:
        for _ in range(150):
            self._compared_tick({})

    @rule()
    def trouble(self) -> None:
        self._compared_tick({"drive_ready": 0})

    def _compared_tick(self, changes: Mapping[str, int]) -> None:
        inputs = {**self.walk.obedient(), **changes}
        expected = _tick_by_definition(
            self.walk.machine.trial, self.walk.machine.state, self.walk.machine.variables, inputs
        )
        self.walk.tick(**changes)
        assert (self.walk.machine.state, self.walk.machine.variables) == expected

    @invariant()
    def the_machine_never_loses_the_brake(self) -> None:
        outputs = self.walk.machine.outputs()
        assert outputs["torque_request"] or not outputs["brake_open"]


def _tick_by_definition(
    trial: Trial, state: str, variables: Mapping[str, int], inputs: Mapping[str, int]
) -> tuple[str, dict[str, int]]:
    """One tick by the words of the specification: no library, no generated code."""
    values = {**variables, **inputs}
    booleans = dict(values)
    for condition in trial.conditions:
        booleans[condition.name] = evaluate(condition.expression, booleans)
    (row,) = _holding(trial, state, booleans)
    kept = dict(variables)
    for variable in trial.variables:
        if variable.name in row.actions:
            value = evaluate(row.actions[variable.name], values)
            kept[variable.name] = max(variable.low, min(variable.high, value))
    return row.target, kept


def _holding(trial: Trial, state: str, booleans: Mapping[str, int]) -> Iterator:
    for row in trial.rows:
        looked_at = [booleans[n] for n in row.when] + [1 - booleans[n] for n in row.unless]
        if row.source == state and all(looked_at):
            yield row


RandomInputs.TestCase.settings = settings(max_examples=15, stateful_step_count=12, deadline=None)
TestRandomInputs = RandomInputs.TestCase


def test_numbers_of_names_are_places_in_the_file():
    trial = TRIAL
    for group, numbers in (
        (trial.states, trial.index.states),
        (trial.inputs, trial.index.inputs),
        (trial.outputs, trial.index.outputs),
        (trial.variables, trial.index.variables),
        (trial.conditions, trial.index.conditions),
    ):
        assert [group[number].name for number in numbers.values()] == list(numbers)
    assert trial.index.condition_bits[trial.conditions[5].name] == 1 << 5
    fewer = replace(trial, states=trial.states[1:])
    assert fewer.index.states[trial.states[1].name] == 0
