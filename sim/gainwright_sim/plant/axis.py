"""A simulated axis, advanced one control tick at a time by exact discretisation."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from gainwright_sim.machine.model import Machine
from gainwright_sim.plant.chain import Matrix
from gainwright_sim.plant.discrete import discretise_machine
from gainwright_sim.plant.disturbance import DisturbanceTorques
from gainwright_sim.plant.friction import FrictionPair
from gainwright_sim.plant.play import excess_nm


class Axis(Protocol):
    """What a drive loop needs of an axis; ``state`` is angles, speeds, torque (2 n + 1 values)."""

    state: Matrix

    def advance(self, command_nm: float) -> None:
        """Move on by one control tick with the torque command held."""


class DiscreteAxis:
    """Exact for the linear part; Coulomb friction enters as a torque held over each tick."""

    def __init__(self, machine: Machine) -> None:
        self._disturbances = DisturbanceTorques(machine)
        self._tick_s = machine.drive.control_tick_s
        self._ticks = 0
        self._plant = discretise_machine(machine)
        self._constant_nm = machine.friction.constant_load_torque_nm
        self._play = machine.play
        self._friction = FrictionPair(machine, self._plant)
        self.state: Matrix = np.zeros(2 * machine.chain.body_count + 1)

    def advance(self, command_nm: float) -> None:
        plant = self._plant
        # Held over the tick: as in its middle, so that a torque over the angle adds no energy.
        angle = float(self.state[0]) + 0.5 * self._tick_s * float(self.state[plant.motor_speed])
        self._ticks += 1
        load_nm = self._constant_nm + self._disturbances.load_nm(angle, self._ticks)
        motor_nm = self._disturbances.motor_nm(angle, command_nm)
        if self._play is not None:
            speed = float(self.state[plant.load_speed])
            load_angle = float(self.state[plant.load_angle]) + 0.5 * self._tick_s * speed
            excess = excess_nm(self._play, angle - load_angle)
            motor_nm, load_nm = motor_nm + excess, load_nm - excess
        free = (
            plant.a @ self.state
            + plant.command * command_nm
            + plant.motor * motor_nm
            + plant.load * load_nm
        )
        self.state = self._friction.step(self.state, free)
