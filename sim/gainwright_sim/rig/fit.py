"""Does a trial fit a machine? Its times are proved once, so the machine must keep within them."""

from __future__ import annotations

import math

from gainwright.errors import InputError, Problem
from gainwright.language.model import Trial
from gainwright_codegen.axis_c.machine import control_ticks
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_sim.machine import Machine
from gainwright_sim.rig.axis import axis_data

BLOCKS_TO_LISTEN = 3
"""A ring block that began after the test pulse has ended after at most this many blocks."""


def check_fit(trial: Trial, machine: Machine, tables: tuple[StageTables, ...]) -> None:
    """Raise InputError with everything in which a machine does not keep to a trial's constants.

    A trial without a constant of one of these names is taken to have no such demand.
    """
    problems = [*_tick_problems(trial, machine), *_brake_problems(trial, machine)]
    problems += _listen_problems(trial, machine, tables)
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
    minimum = _constant(trial, "listen_minimum_ticks")
    if minimum is None:
        return []
    per_tick = control_ticks(trial, axis_data(machine))
    problems = []
    for table in tables:
        pulse = len(table.pulse.shape)
        needed = math.ceil((pulse + BLOCKS_TO_LISTEN * table.detector.ring.block_ticks) / per_tick)
        if needed > minimum:
            problems.append(
                Problem(
                    machine.name,
                    f"drive timing, stage {table.stage.name}",
                    f"a test pulse of {pulse} and detector blocks of "
                    f"{table.detector.ring.block_ticks} control ticks",
                    f"pulse and {BLOCKS_TO_LISTEN} blocks within {minimum} sequencer ticks, "
                    f"listen_minimum_ticks of trial {trial.name}",
                    f"copy the trial, raise listen_minimum_ticks to {needed} and give it with "
                    "--trial",
                )
            )
    return problems
