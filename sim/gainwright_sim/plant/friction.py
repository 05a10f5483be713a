"""Coulomb friction of the first and the last mass, solved together: the reference for the C rig.

The friction torques m and l are held over a tick; the response R of the exact discretisation tells
what they add to the ways that both masses go in it. Coulomb's law on the ways (a mass that moves
has its full friction against its way, one at rest any torque up to it) is the condition for

    least of 1/2 (m, l) R (m, l)' + (m, l) (free ways)'   over |m| <= M, |l| <= L

(Moreau's time stepping, written for ways; Stewart and Trinkle 1996, Int. J. Numer. Meth. Eng.
39:2673). R is symmetric and positive, so that there is one solution, friction never does work on
the axis, and a mass that sticks goes no way at all. What speed is left is then stopped by an
impulse, as far as the friction impulse of the tick, at most M Ts, allows.

Friction falls from breakaway at rest to Coulomb's: Fc + (Fs - Fc) exp(-(w/ws)^2) (Stribeck; the
form of Canudas de Wit, Olsson, Astrom and Lischinsky 1995, IEEE Trans. Autom. Control 40(3):419).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from gainwright_sim.machine.model import Machine
from gainwright_sim.plant.chain import Matrix
from gainwright_sim.plant.discrete import DiscretePlant

_LEAST_SCHUR_SHARE = 1e-9
"""A single mass, or two that one tick cannot tell apart: no division by zero."""


@dataclass(frozen=True, slots=True)
class FrictionLevel:
    """Friction torque of one mass as a function of its speed."""

    coulomb_nm: float
    breakaway_nm: float
    """Beyond Coulomb friction, at rest."""
    stribeck_speed_rad_per_s: float

    def at(self, speed_rad_per_s: float) -> float:
        """Return the friction torque, in Nm, at a speed."""
        if self.breakaway_nm <= 0.0:
            return self.coulomb_nm
        share = speed_rad_per_s / self.stribeck_speed_rad_per_s
        return self.coulomb_nm + self.breakaway_nm * math.exp(-min(share * share, 700.0))


@dataclass(frozen=True, slots=True)
class Response:
    """Ways in a tick of the first and the last mass, in rad per Nm held over it."""

    motor: float
    motor_load: float
    load: float

    @property
    def motor_beside_load(self) -> float:
        """Way of the motor per Nm while the load goes no way."""
        return max(self.motor - self.motor_load**2 / self.load, _LEAST_SCHUR_SHARE * self.motor)

    def pair(
        self, motor_way: float, load_way: float, motor_level_nm: float, load_level_nm: float
    ) -> tuple[float, float]:
        """Return the friction torques of both masses, in Nm.

        Args:
            motor_way, load_way: rad that they would go in the tick without friction.
            motor_level_nm, load_level_nm: bounds of the torques.
        """
        both = -(motor_way - self.motor_load / self.load * load_way) / self.motor_beside_load
        load = -(load_way + self.motor_load * both) / self.load
        slipping = _limited(load, load_level_nm)
        one = -(motor_way + self.motor_load * slipping) / self.motor
        motor_nm = _limited(both if slipping == load else one, motor_level_nm)
        load_nm = _limited(-(load_way + self.motor_load * motor_nm) / self.load, load_level_nm)
        return motor_nm, load_nm


class FrictionPair:
    """Applies the friction of a machine to the free motion of each tick."""

    def __init__(self, machine: Machine, plant: DiscretePlant) -> None:
        self._plant = plant
        self._motor, self._load = friction_levels(machine)
        self._response = response(plant)
        self._motor_speed_per_nm, self._load_speed_per_nm = speeds_per_nm(machine)

    def step(self, state: Matrix, free: Matrix, brake_nm: float = 0.0) -> Matrix:
        """Return x(k+1) from x(k) and ``free``, the next state before friction."""
        plant = self._plant
        speed, far = plant.motor_speed, plant.load_speed
        motor_level = self._motor.at(float(state[speed])) + brake_nm
        load_level = self._load.at(float(state[far]))
        way = free - state
        motor_nm, load_nm = self._response.pair(
            float(way[0]), float(way[plant.load_angle]), motor_level, load_level
        )
        after = free + plant.motor * motor_nm + plant.load * load_nm
        after[speed] = _stopped(after[speed], motor_nm, motor_level, self._motor_speed_per_nm)
        after[far] = _stopped(after[far], load_nm, load_level, self._load_speed_per_nm)
        if abs(motor_nm) < motor_level:
            after[0] = state[0]
        if abs(load_nm) < load_level:
            after[plant.load_angle] = state[plant.load_angle]
        return after


def friction_levels(machine: Machine) -> tuple[FrictionLevel, FrictionLevel]:
    """Return friction of the first and the last mass; a single mass has all of it as the first."""
    friction = machine.friction
    motor = (friction.motor_coulomb_nm, friction.motor_breakaway_nm)
    load = (friction.load_coulomb_nm, friction.load_breakaway_nm)
    speed = friction.stribeck_speed_rad_per_s
    levels = [(coulomb, max(static - coulomb, 0.0)) for coulomb, static in (motor, load)]
    if machine.chain.mass_count == 1:
        levels = [(levels[0][0] + levels[1][0], levels[0][1] + levels[1][1]), (0.0, 0.0)]
    first, last = (FrictionLevel(*level, speed) for level in levels)
    return first, last


def speeds_per_nm(machine: Machine) -> tuple[float, float]:
    """Return the speed that an impulse of one Nm held for a tick gives the first and last mass.

    In rad/s per Nm, against the base where there is one, which the impulse pushes the other way.
    """
    tick_s, chain = machine.drive.control_tick_s, machine.chain
    if chain.base is None:
        return tick_s / chain.inertias_kgm2[0], tick_s / chain.inertias_kgm2[-1]
    push = tick_s / chain.base.inertia_kgm2
    return tick_s / chain.inertias_kgm2[0] + push, tick_s / chain.inertias_kgm2[-1] + push


def response(plant: DiscretePlant) -> Response:
    """Return the ways that held torques on the first and the last mass make in one tick."""
    return Response(
        motor=float(plant.motor[0]),
        motor_load=float(plant.load[0]),
        load=float(plant.load[plant.load_angle]),
    )


def _limited(value: float, limit: float) -> float:
    return min(max(value, -limit), limit)


def _stopped(speed: float, torque_nm: float, level_nm: float, speed_per_torque: float) -> float:
    """Return the speed after the impulse that is left of the tick's friction has acted on it."""
    least = -(level_nm + torque_nm) * speed_per_torque
    most = (level_nm - torque_nm) * speed_per_torque
    return speed + min(max(-speed, least), most)
