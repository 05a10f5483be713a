"""Does a trial fit a machine? Its times are proved once, so the machine must keep within them."""

from __future__ import annotations

import math

from gainwright.errors import InputError, Problem
from gainwright.language.model import Trial
from gainwright_codegen.axis_c.machine import control_ticks
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_sim.machine import Machine
from gainwright_sim.rig.axis import axis_data
from gainwright_sim.rig.ringing import LENGTHS, SHORTEST_WINDOW_S, window_ticks

HEARING = (
    ("noise_blocks_needed", "noise_timeout_ticks"),
    ("ring_blocks_needed", "listen_timeout_ticks"),
    ("decay_blocks_needed", "listen_timeout_ticks"),
    ("hidden_blocks_needed", "listen_timeout_ticks"),
)
"""Constants: blocks of the detector that must end within a time."""
LOAD_OUTPUTS = ("position_from_load", "shake_number")
"""Outputs that ask for a sensor at the load."""
SPARE_BLOCKS = 1
LARGEST_COUNT_SHARE = 0.12
"""One encoder count in one control tick, at the start gain, of the torque limit: from about there
on the steps of the encoder alone are a burst, whatever the axis does."""


def check_fit(trial: Trial, machine: Machine, tables: tuple[StageTables, ...]) -> None:
    """Raise InputError with everything in which a machine does not keep to a trial's constants.

    A trial without a constant of one of these names is taken to have no such demand.
    """
    problems = [*_tick_problems(trial, machine), *_brake_problems(trial, machine)]
    problems += _listen_problems(trial, machine, tables)
    problems += _count_problems(machine, tables)
    problems += _load_problems(trial, machine)
    if problems:
        raise InputError(problems)


def _constant(trial: Trial, name: str) -> int | None:
    try:
        return trial.constant(name)
    except KeyError:
        return None


def _tick_problems(trial: Trial, machine: Machine) -> list[Problem]:
    tick_s, sequencer_s = machine.drive.control_tick_s, trial.tick_us * 1e-6
    ratio = sequencer_s / tick_s
    if ratio > 0.999 and abs(ratio - round(ratio)) < 1e-6 * ratio:
        return []
    return [
        Problem(
            machine.name,
            "drive.control_tick_s",
            f"{tick_s:g} s",
            f"a whole part of the sequencer tick of trial {trial.name}, {sequencer_s:g} s",
            "change the control tick, or tick_us of the trial",
        )
    ]


def _brake_problems(trial: Trial, machine: Machine) -> list[Problem]:
    if machine.brake is None:
        return []
    problems = []
    for key, time_s, name in (
        ("brake.open_time_s", machine.brake.open_time_s, "brake_open_ticks"),
        ("brake.close_time_s", machine.brake.close_time_s, "brake_close_ticks"),
    ):
        allowed = _constant(trial, name)
        if allowed is not None and time_s > allowed * trial.tick_us * 1e-6:
            problems.append(
                Problem(
                    machine.name,
                    key,
                    f"{time_s:g} s",
                    f"at most {allowed * trial.tick_us * 1e-6:g} s, {name} of trial {trial.name}",
                    f"copy the trial, raise {name} to "
                    f"{math.ceil(time_s / (trial.tick_us * 1e-6))} and give it with --trial",
                )
            )
    return problems


def _listen_problems(
    trial: Trial, machine: Machine, tables: tuple[StageTables, ...]
) -> list[Problem]:
    per_tick = control_ticks(trial, axis_data(machine))
    problems = []
    for table in tables:
        block = table.detector.ring.block_ticks
        for blocks_name, time_name in HEARING:
            blocks, allowed = _constant(trial, blocks_name), _constant(trial, time_name)
            if blocks is None or allowed is None:
                continue
            needed = math.ceil((blocks + SPARE_BLOCKS) * block / per_tick)
            if needed > allowed:
                problems.append(_too_slow(trial, machine, table, blocks_name, time_name, needed))
    return problems


def _count_problems(machine: Machine, tables: tuple[StageTables, ...]) -> list[Problem]:
    """Return whether the encoder's steps alone would fill the torque at the start gain."""
    drive = machine.drive
    if drive.speed_source != "difference":
        return []
    lag_s, tick_s = drive.speed_filter_time_constant_s, drive.control_tick_s
    passed = -math.expm1(-tick_s / lag_s) if lag_s > 0.0 else 1.0
    step_rad_per_s = passed * 2.0 * math.pi / drive.encoder_counts_per_turn / tick_s
    problems = []
    for table in tables:
        share = table.gains[0] * step_rad_per_s / drive.torque_limit_nm
        if table.kind.setting == "speed_gain" and share > LARGEST_COUNT_SHARE:
            most = LARGEST_COUNT_SHARE * drive.torque_limit_nm / step_rad_per_s
            problems.append(
                Problem(
                    machine.name,
                    "drive.encoder_counts_per_turn",
                    f"{drive.encoder_counts_per_turn} counts: one of them makes {share:.0%} of the "
                    "torque limit at the start gain",
                    f"at most {LARGEST_COUNT_SHARE:.0%}, else the encoder's steps are all that "
                    "the trial hears",
                    "use a finer encoder or a speed filter, or start from "
                    f"{most:.4g} {table.kind.unit} at most",
                )
            )
    return problems


def _load_problems(trial: Trial, machine: Machine) -> list[Problem]:
    """Return whether a trial asks for a sensor at the load that is not there or hears nothing."""
    outputs = trial.index.outputs
    if not any(name in outputs for name in LOAD_OUTPUTS):
        return []
    if machine.load_sensor is None:
        return [
            Problem(
                machine.name, "[load_sensor]", "no sensor at the load",
                f"one: trial {trial.name} closes the position loop over it",
                "add [load_sensor] with its resolution and delay_s, or take a trial for the "
                "motor's encoder, such as complete",
            )
        ]  # fmt: skip
    tick_s = trial.tick_us * 1e-6
    window_s = window_ticks(machine, tick_s) * tick_s
    if window_s * 0.5 ** (LENGTHS - 1) >= SHORTEST_WINDOW_S:
        return []
    return [
        Problem(
            machine.name, "motion",
            f"moves with {2.0 * window_s:.3g} s at constant speed in which the load can be heard",
            f"at least {2.0 * SHORTEST_WINDOW_S * 2 ** (LENGTHS - 1):.3g} s",
            "lower the cruise speed, or widen the travel window",
        )
    ]  # fmt: skip


def _too_slow(
    trial: Trial, machine: Machine, table: StageTables, blocks: str, time: str, needed: int
) -> Problem:
    return Problem(
        machine.name,
        f"drive timing, stage {table.stage.name}",
        f"detector blocks of {table.detector.ring.block_ticks} control ticks",
        f"{trial.constant(blocks)} blocks and {SPARE_BLOCKS} to spare within "
        f"{trial.constant(time)} sequencer ticks, {blocks} and {time} of trial {trial.name}",
        f"copy the trial, raise {time} to {needed} and give it with --trial",
    )
