"""Fills the rig's C structures from a machine, a trial and the tables of the export."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import cffi

from gainwright.detector.evidence import FINDINGS
from gainwright.detector.response_settings import RESPONSE_FINDINGS
from gainwright.detector.timing import lag_time_s
from gainwright.errors import InputError, Problem
from gainwright.fixed.qformat import SIGNAL
from gainwright.language.model import Trial
from gainwright.stage_kind import DRIVE_SETTINGS
from gainwright_codegen.axis_c.machine import control_ticks
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_sim.machine import Harmonic, Machine
from gainwright_sim.plant import compensation
from gainwright_sim.plant.chain import BASE
from gainwright_sim.plant.discrete import DiscretePlant, discretise_machine
from gainwright_sim.plant.disturbance import DisturbanceTorques
from gainwright_sim.plant.friction import friction_levels, response, speeds_per_nm
from gainwright_sim.plant.move import smoothing_ticks
from gainwright_sim.rig.axis import axis_data
from gainwright_sim.rig.ringing import set_load_sensor
from gainwright_sim.rig.step_lines import set_lines

DRIVE_INPUTS = (
    "start_request",
    "reset_request",
    "run_permit",
    "drive_ready",
    "feedback_valid",
    "inside_travel_window",
    "torque_saturated",
    "cruising",
    "target_reached",
    "standstill",
    "overspeed",
    "following_error",
    "still_ticks",
    "torque_share",
    "strained_ticks",
    "speed_share",
    "step_overshoot",
    "step_residual",
    "swing_growth",
    "step_sensitivity",
    "step_phase_margin",
    "margins_evaluated",
    "load_driven",
    "load_undamped",
    "ringing_heard",
    "ringing_cut_off",
    "decay_evaluated",
    "decay_spread",
    "decays_measured",
    "load_limit_rung",
    "profile_error",
    "profile_overshoot",
    "rest_swing",
    "load_sensed",
    "rest_jumps",
    "limit_elsewhere",
    "crossing_wanted",
)
"""Inputs that the simulated drive supplies."""
DETECTOR_INPUTS = (*FINDINGS, *RESPONSE_FINDINGS)
"""Inputs that the exported detector supplies."""
OBEYED_OUTPUTS = (
    "torque_request",
    "brake_open",
    "motion_enable",
    "target_position",
    "cruise_share",
    "position_step",
    "step_number",
    "position_from_load",
    "shake_number",
    "profile_watch",
    "finished",
    "limited_by_noise",
    "aborted",
    "fault_latched",
)
"""Outputs that the simulated drive obeys."""


def check_rig_inputs(trial: Trial) -> None:
    """Raise InputError with every input of the trial that the rig does not know."""
    known = (*DRIVE_INPUTS, *DETECTOR_INPUTS)
    problems = [
        Problem(
            trial.name,
            f"input {signal.name}",
            "an input that the simulated drive does not supply",
            f"one of: {', '.join(known)}",
            "rename the input, or rehearse this trial on a rig of your own",
        )
        for signal in trial.inputs
        if signal.name not in known
    ]
    if problems:
        raise InputError(problems)


def binding(
    ffi: cffi.FFI,
    trial: Trial,
    tables: Sequence[StageTables],
    limits_elsewhere: Mapping[str, int] | None = None,
) -> Any:
    """Return a ``rig_binding``: where the trial has the names that the drive knows.

    Args:
        limits_elsewhere: by stage, the lowest rung at which its search ended at another place.
    """
    result = ffi.new("rig_binding *")
    for places, names, target in (
        (trial.index.inputs, DRIVE_INPUTS, result.input),
        (trial.index.outputs, OBEYED_OUTPUTS, result.output),
    ):
        for number, name in enumerate(names):
            target[number] = places.get(name, -1)
    for number, table in enumerate(tables):
        result.setting[number] = DRIVE_SETTINGS.index(table.kind.setting)
        result.setting_scale[number] = table.word_value
        result.limit_elsewhere[number] = (limits_elsewhere or {}).get(table.stage.name, 0)
    return result


def plant(ffi: cffi.FFI, machine: Machine) -> Any:
    """Return a ``rig_plant``: the exact discretisation, friction and brake of a machine."""
    discrete = discretise_machine(machine)
    friction, brake, tick_s = machine.friction, machine.brake, machine.drive.control_tick_s
    result = ffi.new("rig_plant *")
    states = discrete.a.shape[0]
    result.states = states
    result.motor_speed, result.load_speed = discrete.motor_speed, discrete.load_speed
    result.base = BASE if discrete.has_base else 0
    for name, column in (
        ("a", discrete.a.T.ravel()),
        ("command", discrete.command),
        ("motor", discrete.motor),
        ("load", discrete.load),
        ("constant", discrete.load * friction.constant_load_torque_nm),
    ):
        getattr(result, name)[0 : column.size] = column.tolist()
    _rubbing(result, machine, discrete)
    _disturbing(result.disturbances, machine)
    _playing(result.play, machine)
    if brake is not None:
        result.brake_torque_nm = brake.holding_torque_nm
        result.brake_open_ticks = max(1, round(brake.open_time_s / tick_s))
        result.brake_close_ticks = max(1, round(brake.close_time_s / tick_s))
    return result


def _rubbing(result: Any, machine: Machine, discrete: DiscretePlant) -> None:
    """Fill in friction of both ends, and how they answer to it."""
    ends = result.motor_friction, result.load_friction
    levels, speeds = friction_levels(machine), speeds_per_nm(machine)
    for target, level, speed_per_torque in zip(ends, levels, speeds, strict=True):
        target.coulomb_nm, target.breakaway_nm = level.coulomb_nm, level.breakaway_nm
        target.per_stribeck_speed = 1.0 / level.stribeck_speed_rad_per_s
        target.speed_per_torque = speed_per_torque
    ways = response(discrete)
    result.response.motor_load = ways.motor_load
    result.response.per_motor = 1.0 / ways.motor
    result.response.per_load = 1.0 / ways.load
    result.response.per_motor_beside_load = 1.0 / ways.motor_beside_load


def _disturbing(target: Any, machine: Machine) -> None:
    """Fill in the torques that disturb the axis."""
    torques = DisturbanceTorques(machine)
    sines: list[Harmonic] = []
    for end, harmonics in (
        ("ripple_end", torques.ripple),
        ("cogging_end", torques.cogging_nm),
        ("offset_end", torques.offset_nm),
        ("end", torques.passing_nm),
    ):
        sines += harmonics
        setattr(target, end, len(sines))
    if torques.external_nm:
        sines.append(Harmonic(0.0, torques.external_nm))
        target.end = len(sines)
        target.external_turns_per_tick = torques.external_turns_per_tick
    for number, sine in enumerate(sines):
        target.turns_per_rad[number] = sine.order / (2.0 * math.pi)
        target.amplitude[number] = sine.amplitude
    target.gain_error = torques.gain_error
    target.present = torques.present or machine.play is not None


def _playing(target: Any, machine: Machine) -> None:
    """Fill in what keeps the spring from holding both ways."""
    play = machine.play
    if play is None:
        return
    target.present = 1
    target.gap_rad, target.gap_stiffness = play.gap_rad, play.gap_stiffness_nm_per_rad
    target.pretension_nm = play.pretension_nm
    target.first, target.second = play.first_nm_per_rad, play.second_nm_per_rad


def _encoder(target: Any, machine: Machine) -> None:
    counts = machine.drive.encoder_counts_per_turn
    target.count_rad = 2.0 * math.pi / counts
    target.counts_per_rad = counts / (2.0 * math.pi)
    disturbances = machine.disturbances
    lines = disturbances.encoder_lines_per_turn
    if lines > 0:
        target.lines_per_rad = lines / (2.0 * math.pi)
        target.first_rad = disturbances.interpolation_first_order * 2.0 * math.pi / lines
        target.second_rad = disturbances.interpolation_second_order * 2.0 * math.pi / lines


def drive(ffi: cffi.FFI, machine: Machine, trial: Trial) -> Any:
    """Return a ``rig_drive``: timing, ratings, start settings and moves of a machine."""
    axis = axis_data(machine)
    source, motion = machine.drive, machine.motion
    result = ffi.new("rig_drive *")
    result.tick_s = source.control_tick_s
    result.ticks_per_s = 1.0 / source.control_tick_s
    result.delay_ticks = source.torque_delay_ticks
    result.lag_s = lag_time_s(axis.timing)
    result.sequencer_ticks = control_ticks(trial, axis)
    result.torque_limit_nm = source.torque_limit_nm
    _encoder(result.encoder, machine)
    result.torque_words_per_nm = 1.0 / (source.rated_torque_nm * SIGNAL.resolution)
    result.nm_per_torque_word = source.rated_torque_nm * SIGNAL.resolution
    result.speed_words_s_per_rad = 1.0 / (source.top_speed_rad_per_s * SIGNAL.resolution)
    noise = math.hypot(source.torque_noise_per_unit, machine.disturbances.current_noise_per_unit)
    result.noise_nm = noise * source.rated_torque_nm
    lag_s = source.speed_filter_time_constant_s
    result.filter_share = -math.expm1(-source.control_tick_s / lag_s) if lag_s > 0.0 else 1.0
    result.speed_sensor = source.speed_source == "sensor"
    for number, setting in enumerate(DRIVE_SETTINGS):
        result.setting[number] = axis.start_settings[setting]
    result.half_window_rad = motion.travel_window_rad / 2.0
    result.cruise_rad_per_s = motion.cruise_speed_rad_per_s
    result.acceleration_rad_per_s2 = motion.acceleration_rad_per_s2
    result.smoothing_ticks = smoothing_ticks(machine)
    result.smoothing_share = 1.0 / result.smoothing_ticks
    _compensating(result, machine)
    _stepping(result, machine)
    set_load_sensor(result, machine, trial)
    _measuring(result, machine, trial)
    return result


STEP_TORQUE_SHARE = 0.1
"""A position step lets the torque jump by this share of its limit ..."""
STEP_SPEED_SHARE = 0.2
"""... or the speed by this share of cruise speed, whichever is less."""
STEP_LEAST_S = 0.25
"""Shorter watching says nothing of what is left at its end."""
STEP_SETTLED = 2.5
"""Time constants of the position loop after which only swinging is left."""
STEP_MEAN_S = 0.02
"""Time constant of the mean error before the step."""
STEP_FORGET_S = 0.1
"""Time constant by which swinging after a step is forgotten."""


def _stepping(result: Any, machine: Machine) -> None:
    """Fill in how the drive steps its position reference and what it measures then."""
    tick_s = machine.drive.control_tick_s
    result.step_torque_nm = STEP_TORQUE_SHARE * machine.drive.torque_limit_nm
    result.step_speed = STEP_SPEED_SHARE * machine.motion.cruise_speed_rad_per_s
    result.step_ticks = round(STEP_LEAST_S / tick_s)
    result.step_least_gain = STEP_SETTLED / STEP_LEAST_S
    result.step_mean_share = -math.expm1(-tick_s / STEP_MEAN_S)
    result.step_forget_share = -math.expm1(-tick_s / STEP_FORGET_S)
    set_lines(result, machine)


def _compensating(result: Any, machine: Machine) -> None:
    """Fill in how the drive measures friction and feeds it forward."""
    tick_s = machine.drive.control_tick_s
    if machine.speed_loop.friction_compensation == "measured":
        result.compensation_share = -math.expm1(-tick_s / compensation.LAG_S)
    cruise = machine.motion.cruise_speed_rad_per_s
    result.compensation_per_speed = 1.0 / (compensation.FULL_SPEED_SHARE * cruise)
    result.compensation_least_speed = compensation.LEAST_SPEED_SHARE * cruise
    result.compensation_limit_nm = machine.drive.rated_torque_nm
    result.compensation_ticks = max(1, round(compensation.LEAST_S / tick_s))


MEAN_S = 0.01
"""Shortest time over which a drive takes the mean of the measured speed."""
MEAN_TICKS_MAX = 1024
"""Longest, in sequencer ticks: ``RIG_MEAN_MAX``."""
COUNT_SHARE = 0.025
"""One encoder count over the mean's time is at most this share of cruise speed."""
STANDSTILL_SHARE = 0.03
OVERSPEED_FACTOR = 3.0
"""Times cruise speed ..."""
OVERSPEED_TOP_SHARE = 0.03
"""... and this share of top speed more is too fast."""
FOLLOWING_S = 0.75
"""The largest following error is the way at cruise speed in this time ..."""
FOLLOWING_COUNTS = 16.0
"""... and so many encoder counts more."""
MUST_MOVE_SHARE = 0.25
"""Of cruise speed: from there on the reference asks for a position that changes."""
POSITION_WINDOW_SHARE = 0.05
"""Of the travel window: so near to the target counts as arrived ..."""
POSITION_WINDOW_S = 0.02
"""... after so long."""


def mean_ticks(machine: Machine, sequencer_tick_s: float) -> int:
    """Return over how many sequencer ticks a drive takes the mean speed.

    Long enough that one encoder count is at most ``COUNT_SHARE`` of cruise speed.
    """
    count_rad = 2.0 * math.pi / machine.drive.encoder_counts_per_turn
    time_s = max(MEAN_S, count_rad / (COUNT_SHARE * machine.motion.cruise_speed_rad_per_s))
    return min(MEAN_TICKS_MAX, max(1, math.ceil(time_s / sequencer_tick_s - 1e-9)))


def _measuring(result: Any, machine: Machine, trial: Trial) -> None:
    """Fill in when the drive reports standstill, cruising and the target reached."""
    tick_s, motion = trial.tick_us * 1e-6, machine.motion
    result.mean_ticks = mean_ticks(machine, tick_s)
    result.means_per_s = 1.0 / (result.mean_ticks * tick_s)
    count_rad_per_s = result.encoder.count_rad * result.means_per_s
    cruise = motion.cruise_speed_rad_per_s
    # Standing between two counts may look like one count either way.
    result.standstill_rad_per_s = max(STANDSTILL_SHARE * cruise, 1.01 * count_rad_per_s)
    result.overspeed_rad_per_s = (
        OVERSPEED_FACTOR * cruise + OVERSPEED_TOP_SHARE * machine.drive.top_speed_rad_per_s
    )
    farthest_rad = FOLLOWING_S * cruise + FOLLOWING_COUNTS * result.encoder.count_rad
    result.following_error_per_rad = 256.0 / farthest_rad
    result.must_move_rad_per_s = MUST_MOVE_SHARE * cruise
    result.position_window_rad = max(
        POSITION_WINDOW_SHARE * motion.travel_window_rad, 4.0 * result.encoder.count_rad
    )
    result.position_window_ticks = max(1, math.ceil(POSITION_WINDOW_S / tick_s - 1e-9))
