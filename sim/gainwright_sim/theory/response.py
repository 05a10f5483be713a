"""What the linear loop makes of a step of the position and of a move: before and after tuning.

Friction, torque limit and encoder steps are left out; a comparison of settings, no prediction.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from gainwright_sim.machine.model import Machine
from gainwright_sim.plant.chain import BASE, Matrix
from gainwright_sim.plant.move import MoveGenerator
from gainwright_sim.theory.closed_loop import LOAD_SETTING, machine_loop


@dataclass(frozen=True, slots=True)
class Response:
    """Reference, motor and load over time, all (n,), angles on the motor shaft."""

    time_s: Matrix
    reference_rad: Matrix
    motor_rad: Matrix
    load_rad: Matrix


def step_response(machine: Machine, settings: Mapping[str, float], duration_s: float) -> Response:
    """Return the answer to a step of 1 rad of the position reference, speed not fed forward."""
    ticks = round(duration_s / machine.drive.control_tick_s)
    return _response(machine, settings, np.ones(ticks), np.zeros(ticks))


def move_response(
    machine: Machine, settings: Mapping[str, float], distance_rad: float, rest_s: float
) -> Response:
    """Return the answer to one move of the machine's own profile, and some time of rest.

    Args:
        machine: its speed reference is fed forward, as its drive does.
        settings: by name of the stage kind, in its unit; all three of them.
        distance_rad: of the move, above 0.
        rest_s: how long to look on after it.
    """
    move, positions, speeds = MoveGenerator(machine), list[float](), list[float]()
    resting = round(rest_s / machine.drive.control_tick_s)
    while resting > 0:
        move.tick(distance_rad)
        positions.append(move.position_rad)
        speeds.append(move.speed_rad_per_s)
        resting -= move.resting and move.position_rad > 0.5 * distance_rad
    return _response(machine, settings, np.array(positions), np.array(speeds))


def _response(
    machine: Machine, settings: Mapping[str, float], reference: Matrix, speed: Matrix
) -> Response:
    held = dict(settings)
    setting = LOAD_SETTING if held.get(LOAD_SETTING, 0.0) > 0.0 else "position_gain"
    gain = held.pop(setting)
    loop = machine_loop(machine, setting, held)
    step, masses = loop.matrix(gain), machine.chain.body_count
    state, positions = np.zeros(len(step)), np.empty((len(reference), masses))
    wanted = gain * reference + speed
    for tick in range(len(reference)):
        # Angles are those of the motor and the twists behind it.
        positions[tick] = state[:masses]
        state = step @ state + loop.injection * wanted[tick]
    time_s = np.arange(len(reference)) * machine.drive.control_tick_s
    motor = positions[:, 0]
    if machine.chain.base is not None:  # it is against the ground, all others against it
        positions = np.delete(positions, BASE, axis=1)
    return Response(time_s, reference, motor, positions.sum(axis=1))
