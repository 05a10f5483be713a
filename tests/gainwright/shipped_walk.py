"""Walks the shipped trial tick by tick, with the inputs of an axis that does as it is told."""

from __future__ import annotations

from gainwright.language.load import load_trial
from gainwright.language.model import Trial
from gainwright.language.shipped import shipped_trial_path
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
    "answers_hidden": 0,
    "answers_vanished": 0,
    "noise_grown": 0,
    "ringing_stays": 0,
    "ringing_stalls": 0,
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


def walk_to(state: str) -> Walk:
    walk = Walk().started()
    if state.startswith("verify") or state == "back_off":
        walk.at_rung(MARGIN)
        walk.tick(**BURST)
    walk.until(state)
    return walk
