"""The sampled speed loop of one axis as a linear map from tick to tick.

Timing as in the drive: position is read at tick k; speed is its backward difference, then an
optional low-pass w_f += a (w - w_f), a = 1 - exp(-Ts/Tf); I += e Ts/Tn, u = Kp (e + I), so that the
integral holds the present e and the controller is Kp (1 + alpha z/(z-1)), alpha = Ts/Tn; the torque
of tick k is applied from tick k + d on, held. Position hold: Kv (reference - position) is added to
the speed reference. Encoder steps, Coulomb friction and the torque limit are not linear and left
out.

The speed gain enters as a factor of one rank-one matrix, A(Kp) = base + Kp injection feedback^T, so
that whole gain ladders are cheap.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from gainwright_sim.machine.model import Chain, Friction, Machine
from gainwright_sim.plant.chain import Matrix
from gainwright_sim.plant.discrete import DiscretePlant, discretise

SpeedSource = Literal["difference", "true"]
"""Backward difference of the position (a drive), or the true speed (textbook cases)."""


@dataclass(frozen=True, slots=True)
class ClosedLoop:
    """A(Kp) = base + Kp outer(injection, feedback); gain in Nms/rad, states N x N."""

    base: Matrix
    injection: Matrix
    feedback: Matrix
    tick_s: float

    def matrix(self, gain_nms_per_rad: float) -> Matrix:
        """Return the state matrix (N x N) at a speed-loop gain."""
        return self.base + gain_nms_per_rad * np.outer(self.injection, self.feedback)

    def spectral_radii(self, gains_nms_per_rad: Matrix) -> Matrix:
        """Return the largest eigenvalue modulus for each of a row of gains."""
        gains = np.asarray(gains_nms_per_rad, dtype=float)
        stack = self.base + gains[:, None, None] * np.outer(self.injection, self.feedback)
        return np.abs(np.linalg.eigvals(stack)).max(axis=1)

    def dominant_eigenvalue(self, gain_nms_per_rad: float) -> complex:
        """Return the eigenvalue of largest modulus, the one of a pair with positive angle."""
        values = np.linalg.eigvals(self.matrix(gain_nms_per_rad))
        value = complex(values[np.argmax(np.abs(values))])
        return complex(value.real, abs(value.imag))


def closed_loop(
    chain: Chain,
    friction: Friction | None,
    tick_s: float,
    *,
    torque_delay_ticks: int = 1,
    integral_time_s: float = 0.0,
    hold_gain_per_s: float = 0.0,
    speed_source: SpeedSource = "difference",
    speed_filter_time_constant_s: float = 0.0,
    current_loop_time_constant_s: float = 0.0,
) -> ClosedLoop:
    """Return the closed speed loop of a chain.

    ``integral_time_s`` 0 means P only; without position hold the absolute position, whose
    eigenvalue is exactly 1 and which nothing depends on, is left out. ``torque_delay_ticks`` may be
    0 here (textbook cases).
    """
    plant = discretise(chain, friction, tick_s, current_loop_time_constant_s)
    held = hold_gain_per_s > 0.0
    step, command, position, increment = _relative_coordinates(plant)
    if not held:
        step, command, increment = step[1:, 1:], command[1:], (increment[0][1:], increment[1])
        position = None
    layout = _Layout(step.shape[0], torque_delay_ticks)
    base = np.zeros((layout.size, layout.size))
    injection = np.zeros(layout.size)
    measured = np.zeros(layout.size)
    base[: layout.plant, : layout.plant] = step
    # Position increment over the last tick: needs last tick's states, hence a state of its own.
    base[layout.increment, : layout.plant] = increment[0]
    if torque_delay_ticks == 0:
        injection[: layout.plant] = command
        injection[layout.increment] = increment[1]
    else:
        base[: layout.plant, layout.oldest] = command
        base[layout.increment, layout.oldest] = increment[1]
        for slot in range(layout.newest + 1, layout.oldest + 1):
            base[slot, slot - 1] = 1.0
        injection[layout.newest] = 1.0
    if speed_source == "difference":
        measured[layout.increment] = 1.0 / tick_s
    else:
        measured[: layout.plant] = _speed_row(plant, held)
    filtered = _filter(base, measured, layout, tick_s, speed_filter_time_constant_s)
    error = -filtered
    if position is not None:
        error[: layout.plant] -= hold_gain_per_s * position
    alpha = tick_s / integral_time_s if integral_time_s > 0.0 else 0.0
    base[layout.integral, :] = alpha * error
    base[layout.integral, layout.integral] += 1.0 if alpha else 0.0
    feedback = error + base[layout.integral, :]
    return ClosedLoop(base, injection, feedback, tick_s)


class _Layout:
    """Order of the states: plant, position increment, filtered speed, integral, torque queue."""

    def __init__(self, plant: int, delay_ticks: int) -> None:
        self.plant = plant
        self.increment = plant
        self.filtered = plant + 1
        self.integral = plant + 2
        self.newest = plant + 3
        self.oldest = plant + 2 + delay_ticks
        self.size = plant + 3 + delay_ticks


def _relative_coordinates(
    plant: DiscretePlant,
) -> tuple[Matrix, Matrix, Matrix, tuple[Matrix, float]]:
    """Return the plant with angles replaced by motor angle and twists of the springs.

    In these the motor angle drives nothing, so that leaving it out is exact. Also returned: the row
    of the motor angle, and the motor angle's increment over one tick as (row on states, command).
    """
    n, size = plant.mass_count, plant.a.shape[0]
    change = np.eye(size)
    for mass in range(1, n):
        change[mass, mass - 1] = -1.0
    step = change @ plant.a @ np.linalg.inv(change)
    # Exactly so in theory (moving the whole axis changes no force); rounding removed.
    step[:, 0] = 0.0
    step[0, 0] = 1.0
    position = np.eye(size)[0]
    return step, change @ plant.command, position, (step[0] - position, float(plant.command[0]))


def _speed_row(plant: DiscretePlant, held: bool) -> Matrix:
    row = np.zeros(plant.a.shape[0])
    row[plant.motor_speed] = 1.0
    return row if held else row[1:]


def _filter(
    base: Matrix, measured: Matrix, layout: _Layout, tick_s: float, time_constant_s: float
) -> Matrix:
    """Put the speed filter into ``base``; return the row of the filtered speed of this tick."""
    if time_constant_s <= 0.0:
        return measured
    share = 1.0 - math.exp(-tick_s / time_constant_s)
    filtered = share * measured
    filtered[layout.filtered] += 1.0 - share
    base[layout.filtered, :] = filtered
    return filtered


def machine_closed_loop(machine: Machine, chain: Chain | None = None) -> ClosedLoop:
    """Return the closed loop of a machine with its own timing and start settings.

    ``chain`` replaces the machine's own chain, for what-if calculations.
    """
    drive, loop = machine.drive, machine.speed_loop
    return closed_loop(
        machine.chain if chain is None else chain,
        machine.friction,
        drive.control_tick_s,
        torque_delay_ticks=drive.torque_delay_ticks,
        integral_time_s=loop.integral_time_s,
        hold_gain_per_s=loop.hold_gain_per_s,
        speed_filter_time_constant_s=drive.speed_filter_time_constant_s,
        current_loop_time_constant_s=drive.current_loop_time_constant_s,
    )
