"""The shipped trial: its ways through and out, and random inputs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from gainwright.language.load import load_trial
from gainwright.language.model import Kind, Signal, Trial
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
    "speed_share": 0,
    "target_reached": 0,
    "standstill": 1,
    "overspeed": 0,
    "following_error": 0,
    "still_ticks": 0,
    "torque_share": 0,
    "strained_ticks": 0,
    "burst_level": 0,
    "noise_blocks": 0,
    "noise_level": 0,
    "noise_tripled": 0,
    "move_noise_level": 0,
    "ring_blocks": 0,
    "ring_level": 0,
    "response_level": 0,
    "decay_level": 65535,
}
BURST = {"burst_level": TRIAL.constant("burst_threshold")}
LASTING = {"burst_level": 8, "ring_level": 512, "ring_blocks": 200, "decay_level": 250}
UNSEEN = {"response_level": 255, "ring_level": 200, "ring_blocks": 200}
REASONS = [value.name for value in TRIAL.enumeration("end_reasons").values]
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
        """Inputs of an axis that is at constant speed or arrives when the time is right.

        Its noise is heard at once, it answers each pulse, and the answer dies away in two blocks.
        """
        moving = self.machine.outputs()["motion_enable"]
        approaching = self.machine.state == "approach"
        return {
            **RESTING,
            "cruising": int(moving and not approaching),
            "speed_share": 256 * int(moving and not approaching),
            "target_reached": int(approaching),
            "standstill": int(not moving),
            "noise_blocks": 4,
            "ring_blocks": 2,
            "response_level": 2000,
        }

    @property
    def reason(self) -> str:
        return REASONS[self.machine.outputs()["end_reason"]]

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
    assert walk.tick(**BURST) == "burst_onset@detect"
    assert (walk.machine.state, walk.rung) == ("back_off", 40 - MARGIN)
    walk.until("finished")
    assert (walk.rung, walk.reason) == (40 - MARGIN, "below_onset")
    kept = walk.machine.variables
    assert (kept["limit_rung"], kept["result_rung"], kept["onset_found"]) == (40, 40 - MARGIN, 1)
    # Verified once in each direction, and the brake closed before torque went.
    order = ["first_direction_quiet", "both_directions_quiet", "axis_has_stopped", "finish"]
    assert [row for row in walk.rows if row in order] == order
    assert not walk.machine.outputs()["torque_request"]


def test_onset_by_lasting_ringing_after_every_repeat():
    walk = Walk().started().at_rung(30)
    ticks = walk.until("back_off", **LASTING)
    assert walk.rows[-1] == "ringing_onset@detect" and walk.rung == 30 - MARGIN
    assert walk.rows.count("listen_again") == TRIAL.constant("most_repeats")
    assert ticks > 4 * TRIAL.constant("listen_timeout_ticks")


def test_strong_ringing_that_does_not_fall_is_onset_at_once():
    walk = Walk().started().at_rung(30)
    strong = {**LASTING, "ring_level": TRIAL.constant("strong_threshold")}
    walk.tick(**strong)
    assert walk.tick(**strong, cruising=0) == "ringing_onset@detect"


def test_ringing_that_hardly_shows_in_the_torque_is_no_onset():
    """After all repeats the search goes on, but nothing is verified by it."""
    walk = Walk().started().at_rung(30)
    weak = {**LASTING, "burst_level": TRIAL.constant("weak_burst") - 1}
    while walk.rung == 30:
        walk.tick(**weak)
    assert walk.rows[-1] == "raise_gain_unseen"
    assert walk.rows.count("listen_again") == TRIAL.constant("most_repeats")


def test_listening_cut_off_proves_nothing():
    """The axis comes to the end of its travel, or slows down, before the ringing is silent."""
    for change in ({"cruising": 0}, {"speed_share": 101}):
        walk = Walk().started().at_rung(30)
        walk.tick(ring_level=300)
        assert walk.tick(ring_level=0, **change) == "listen_again"
        assert walk.rung == 30 and walk.machine.variables["repeats"] == 1


def test_standing_axis_is_never_judged():
    walk = Walk().started().at_rung(3, "move")
    walk.until("aborted", speed_share=0)
    assert walk.reason == "speed_not_reached" and walk.rung == 0


def test_ringing_that_falls_is_quiet_only_if_it_falls_fast_or_after_every_repeat():
    falling = {**LASTING, "decay_level": TRIAL.constant("fading_decay")}
    walk = Walk().started().at_rung(30)
    walk.tick(**falling)
    assert walk.tick(**falling, cruising=0) == "raise_gain"
    slowly = {**LASTING, "decay_level": TRIAL.constant("slow_decay") - 1}
    walk.at_rung(31)
    for _ in range(TRIAL.constant("most_repeats")):
        assert walk.tick(**slowly, cruising=0) == "listen_again"
        walk.until("detect")
    assert walk.tick(**slowly, cruising=0) == "raise_gain"


def test_pulse_that_is_never_seen_is_no_evidence():
    """Unseen without noise: the search may go on, but nothing is verified by it."""
    walk = Walk().started().at_rung(30)
    walk.until("move", **UNSEEN)
    assert walk.rows[-1] == "listen_again"
    walk = Walk().started().at_rung(30)
    walk.tick(**BURST)
    walk.until("stop_axis", **UNSEEN)
    assert walk.rows[-1] == "verification_not_judged"
    walk.until("aborted")
    assert walk.reason == "pulse_not_seen"


def test_strong_noise_excites_the_loop_itself():
    noisy = {**UNSEEN, "noise_level": TRIAL.constant("hiding_noise")}
    walk = Walk().started().at_rung(30)
    assert walk.tick(**noisy) == "raise_gain"
    walk.at_rung(31)
    walk.until("move", **{**noisy, "ring_level": TRIAL.constant("lasting_threshold")})
    assert walk.rows[-1] == "listen_again"  # what rises is no noise


def test_noise_that_leaps_is_onset():
    """Louder than noise is at this gain, though no burst: the loop oscillates by itself."""
    loud = {"noise_level": TRIAL.constant("noise_threshold"), "noise_tripled": 1}
    walk = Walk().started().at_rung(30, "hear_own_noise")
    assert walk.tick(**loud) == "oscillation_onset@hear_own_noise"
    walk.until("finished")
    assert (walk.rung, walk.reason) == (30 - MARGIN, "below_onset")


def test_noise_ends_the_search_in_an_end_of_its_own():
    walk = Walk().started().at_rung(30, "hear_own_noise")
    loud = {"move_noise_level": TRIAL.constant("noise_threshold")}
    assert walk.tick(**loud) == "noise_ends_search@hear_own_noise"
    walk.until("noise_limited")
    kept = walk.machine.variables
    assert (kept["limit_rung"], walk.rung, kept["onset_found"]) == (30, 30 - MARGIN, 0)
    assert walk.machine.outputs()["limited_by_noise"] and walk.reason == "below_noise"


def test_nobody_listens():
    walk = Walk().started().at_rung(20, "hear_own_noise")
    ticks = walk.until("stop_axis", noise_blocks=0)
    assert ticks == TRIAL.constant("noise_timeout_ticks") + 1
    walk.until("aborted")
    assert walk.reason == "no_measurement"


def test_quiet_to_the_top_keeps_the_margin_without_onset():
    walk = Walk().started()
    walk.until("finished")
    kept = walk.machine.variables
    assert (kept["limit_rung"], kept["result_rung"], kept["onset_found"]) == (TOP, TOP - MARGIN, 0)
    assert walk.reason == "below_top_rung"


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
    walk.tick(**BURST)
    expected = 60
    while expected >= MARGIN:
        assert walk.machine.variables["limit_rung"] == expected
        expected -= MARGIN
        assert walk.rung == expected
        walk.until("verify_detect")
        walk.tick(**BURST)
    assert walk.machine.state == "stop_axis" and walk.rung == 0
    assert walk.rows[-1] == "burst_without_margin@verify_detect"
    walk.until("aborted")
    assert walk.reason == "limit_too_near_start"


@pytest.mark.parametrize("rung", [0, MARGIN - 1])
def test_onset_near_the_start_gain_gives_no_result(rung):
    walk = Walk().started().at_rung(rung)
    assert walk.tick(**BURST) == "burst_without_margin@detect"
    walk.until("aborted")
    assert walk.rung == 0


MOVING = ["approach", "move", "hear_own_noise", "pulse", "detect", "verify_move", "verify_noise"]
MOVING += ["verify_pulse", "verify_detect"]


@pytest.mark.parametrize("state", MOVING)
@pytest.mark.parametrize("change", [{"run_permit": 0}, {"inside_travel_window": 0}])
def test_stop_demand_stops_with_torque_until_the_brake_has_closed(state, change):
    walk = _walk_to(state)
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
    walk = _walk_to("detect")
    walk.tick(run_permit=0)
    assert walk.until("close_brake", standstill=0) == TRIAL.constant("stop_timeout_ticks") + 1
    walk.until("fault")
    assert walk.reason == "did_not_stop"


@pytest.mark.parametrize("state", ["stop_axis", "close_brake"])
@pytest.mark.parametrize("change", [{"run_permit": 0}, {"inside_travel_window": 0}, BURST])
def test_result_is_lost_by_what_happens_while_stopping(state, change):
    """Also if it lasts for one tick only: a permit given back does not bring the result back."""
    walk = _walk_to("verify_detect")
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
    walk = _walk_to(state)
    walk.tick(**BURST)
    assert walk.machine.state == then and walk.reason == "oscillating_at_start"


def _walk_to(state: str) -> Walk:
    walk = Walk().started()
    if state.startswith("verify") or state == "back_off":
        walk.at_rung(MARGIN)
        walk.tick(**BURST)
    walk.until(state)
    return walk


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
        walk = _walk_to("detect")
        walk.tick(run_permit=0)
        walk.until(state)
    else:
        walk = _walk_to(state)
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
    walk = _walk_to("detect")
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
    walk = _walk_to(state)
    ticks = 0
    while walk.machine.state == state:
        walk.tick(**inputs)
        ticks += 1
    assert ticks == TRIAL.constant(constant) + 1
    assert walk.rows[-1] == row
    walk.until("aborted")


def test_axis_that_sinks_when_the_brake_opens_is_a_fault():
    walk = _walk_to("open_brake")
    ticks = walk.until("close_brake", standstill=0)
    assert ticks == TRIAL.constant("open_brake_timeout_ticks") + 1
    assert walk.rows[-1] == "axis_does_not_rest"
    walk.until("fault")
    assert walk.reason == "axis_not_at_rest"


# Random inputs on the trial as shipped ----------------------------------------------------------


INTERESTING = [0, 1, 2, 3, 4, 15, 16, 47, 48, 63, 64, 84, 85, 101, 102, 127, 128]
INTERESTING += [179, 180, 181, 243, 244, 255, 256, 511, 512, 65535]


def _values(signal: Signal) -> st.SearchStrategy[int]:
    high = 1 if signal.kind is Kind.BOOLEAN else signal.high
    return st.sampled_from([value for value in INTERESTING if value <= high])


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
            optional={s.name: _values(s) for s in TRIAL.inputs},
        ),
        times=st.sampled_from([1, 1, 2, 19, 21, 130, 700]),
    )
    def hold(self, changes: dict[str, int], times: int) -> None:
        for _ in range(times):
            self._compared_tick(changes)

    @precondition(lambda self: self.walk.machine.outputs()["motion_enable"])
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
