"""A trial that searches nothing: it moves back and forth at given gains, and its Python twin.

Gain rung 1 applies on the way up, rung 0 on the way down; a test pulse comes some time after each
turn. With ``tick_us`` equal to the control tick, the rig's record has every control tick.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gainwright.detector.evidence import BOOST_MAX
from gainwright.detector.pulse_reference import ReferencePulse
from gainwright.fixed.qformat import SIGNAL
from gainwright.language.load import trial_from_document
from gainwright.language.model import Trial
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_sim.machine import Machine
from gainwright_sim.plant.axis import Axis
from gainwright_sim.plant.chain import BASE
from gainwright_sim.plant.loop import DriveLoop
from gainwright_sim.plant.move import MoveGenerator
from gainwright_sim.rig.log import RigLog

TURN_SHARE = 20_000 / 2**15
"""Turning points, as a share of half the travel window."""
_TEXT = """\
[trial]
name = "fixed_gain"
title = "Back and forth at fixed gains"
tick_us = {tick_us}
initial_state = "down"

[constants]
pulse_ticks = {{ value = {pulse_ticks}, unit = "ticks", meaning = "From the turn to the pulse" }}

[inputs]
target_reached = {{ kind = "boolean", meaning = "The axis has arrived" }}

[variables]
since = {{ kind = "integer", range = [0, 30_000], initial = 0, meaning = "Ticks since the turn" }}
limit = {{ kind = "integer", range = [0, 1], initial = 0, meaning = "Not searched" }}
result = {{ kind = "integer", range = [0, 1], initial = 0, meaning = "Not searched" }}
found = {{ kind = "boolean", initial = false, meaning = "Not searched" }}

[outputs]
torque_request = {{ kind = "boolean", default = true, meaning = "Ask for torque" }}
motion_enable = {{ kind = "boolean", default = true, meaning = "Follow the target" }}
target_position = {{ kind = "integer", range = [-32_768, 32_767], default = {low}, meaning = "To" }}
pulse_request = {{ kind = "boolean", default = "since == pulse_ticks", meaning = "One test pulse" }}
rung = {{ kind = "integer", range = [0, 1], default = 0, meaning = "Rung that applies" }}

[conditions]
arrived = {{ holds = "target_reached", meaning = "The axis has arrived" }}

[states.down]
meaning = "Move to the lower end"

[states.up]
meaning = "Move to the upper end"
outputs = {{ target_position = 20_000, rung = 1 }}

[[rows]]
id = "turn_up"
from = "down"
when = ["arrived"]
to = "up"
actions = {{ since = 0 }}
why = "At the lower end."

[[rows]]
id = "turn_down"
from = "up"
when = ["arrived"]
to = "down"
actions = {{ since = 0 }}
why = "At the upper end."

[[rows]]
id = "move_on"
from = ["up", "down"]
unless = ["arrived"]
actions = {{ since = "since + 1" }}
why = "On the way."

[stages.speed_gain]
title = "Gain of the speed controller"
unit = "N m s/rad"
rung = "rung"
limit = "limit"
result = "result"
onset = "found"
ratio = 1.25
rungs = 2
margin = 0.1
margin_rungs = 1
pulse_share = 0.06
response_share = 0.03
burst_share = 0.1
silence_counts = 1

[hazards]
end_of_travel = {{ consequence = "The axis leaves its travel" }}

[requirements.target_is_an_end]
hazard = "end_of_travel"
sentence = "The target is one of the two ends."
kind = "invariant"
formula = "target_position == 20_000 or target_position == {low}"
proved_by = "induction"
"""


def fixed_gain_trial(tick_us: int, pulse_ticks: int = 200) -> Trial:
    """Return the trial; ``pulse_ticks`` of 30 001 or more means no pulse."""
    text = _TEXT.format(tick_us=tick_us, pulse_ticks=pulse_ticks, low=-20_000)
    return trial_from_document(tomllib.loads(text), "fixed-gain.toml")


@dataclass(frozen=True)
class LoopLog:
    """What the Python drive loop did, one line per control tick."""

    torque: NDArray[np.float64]
    """Per unit, Q4.24 words not yet rounded; before the test pulse."""
    speed_error: NDArray[np.float64]
    """The same, per unit of top speed."""
    position_rad: NDArray[np.float64]
    """True motor angle after the tick."""
    load_speed_rad_per_s: NDArray[np.float64]
    reference_rad: NDArray[np.float64]
    limited: NDArray[np.bool_]
    pulse_ticks: int


def _height(table: StageTables, rung: int, boost: int) -> int:
    """Return what the runtime makes of the table: doubled, but at most 3/2 of the highest."""
    highest = table.pulse.heights[0]
    return min(table.pulse.heights[rung] << boost, highest + highest // 2)


def replay_in_python(
    trial: Trial, machine: Machine, table: StageTables, log: RigLog, axis: Axis
) -> LoopLog:
    """Step the reference loop through the outputs that a rig recorded.

    Expects one control tick per sequencer tick.
    """
    places = {output.name: k for k, output in enumerate(trial.outputs)}
    columns = {name: log.outputs[:, k].tolist() for name, k in places.items()}
    start_rad = np.pi / machine.drive.encoder_counts_per_turn  # half a count, as the rig starts
    axis.state[: machine.chain.body_count] = start_rad
    if machine.chain.base is not None:
        axis.state[BASE] = 0.0
    loop, pulse = DriveLoop(machine, axis), ReferencePulse(table.pulse.shape)
    move = MoveGenerator(machine)
    rated_nm, window = machine.drive.rated_torque_nm, machine.motion.travel_window_rad
    lines, before, pulses, boost, last = [], 0, 0, 0, 0
    for target, rung, request in zip(
        columns["target_position"], columns["rung"], columns["pulse_request"], strict=True
    ):
        # A lower gain makes the next pulse higher, as after a back-off.
        boost, last = min(boost + (rung < last), BOOST_MAX), rung
        if request and not before:
            pulse.start(_height(table, rung, boost))
        before = request
        move.tick(target / 2**15 * window / 2.0)
        loop.speed_gain_nms_per_rad = table.gains[rung]
        added = pulse.sample()
        pulses += added != 0
        sample = loop.tick(
            move.position_rad,
            move.speed_rad_per_s,
            steady=move.steady,
            added_torque_nm=added * SIGNAL.resolution * rated_nm,
        )
        lines.append(
            (
                sample.controller_torque_nm / rated_nm / SIGNAL.resolution,
                sample.speed_error_rad_per_s
                / machine.drive.top_speed_rad_per_s
                / SIGNAL.resolution,
                axis.state[0],
                axis.state[2 * machine.chain.body_count - 1],
                move.position_rad,
                sample.torque_limited,
            )
        )
    columns = np.array(lines).T
    return LoopLog(*columns[:5], limited=columns[5] != 0.0, pulse_ticks=pulses)
