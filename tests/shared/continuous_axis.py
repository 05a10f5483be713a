"""An axis of the simulation as a differential equation, integrated: the independent check.

Nothing is shared with the discretisation but the equation of motion: the current loop, the held
command and Coulomb friction are written out here, the latter as Fc tanh(w / width), which tends to
Coulomb's law as the width tends to 0.
"""

from __future__ import annotations

import numpy as np
from scipy.integrate import solve_ivp

from gainwright_sim.machine.model import Machine
from gainwright_sim.plant.chain import Matrix, continuous_state_space


class ContinuousAxis:
    """Integrates with an implicit method, so that stiff springs and friction are no trouble.

    ``friction_width_rad_per_s`` is the speed within which friction changes its sign.
    """

    def __init__(
        self,
        machine: Machine,
        *,
        friction_width_rad_per_s: float = 1e-3,
        relative_tolerance: float = 1e-9,
    ) -> None:
        self._machine = machine
        self._a, self._b = continuous_state_space(machine.chain, machine.friction)
        self._width = friction_width_rad_per_s
        self._tolerance = relative_tolerance
        self.state: Matrix = np.zeros(2 * machine.chain.body_count + 1)

    def advance(self, command_nm: float) -> None:
        drive = self._machine.drive
        state = self.state.copy()
        if drive.current_loop_time_constant_s <= 0.0:
            state[-1] = command_nm
        solution = solve_ivp(
            self._derivative,
            (0.0, drive.control_tick_s),
            state,
            method="Radau",
            args=(command_nm,),
            rtol=self._tolerance,
            atol=self._tolerance * 1e-3,
        )
        self.state = solution.y[:, -1]

    def _derivative(self, _time_s: float, state: Matrix, command_nm: float) -> Matrix:
        friction = self._machine.friction
        lag_s = self._machine.drive.current_loop_time_constant_s
        n = self._machine.chain.body_count
        motor_nm = state[-1] - self._coulomb(state[n], friction.motor_coulomb_nm)
        load_nm = friction.constant_load_torque_nm - self._coulomb(
            state[2 * n - 1], friction.load_coulomb_nm
        )
        change = np.zeros_like(state)
        change[:-1] = self._a @ state[:-1] + self._b @ np.array((motor_nm, load_nm))
        if lag_s > 0.0:
            change[-1] = (command_nm - state[-1]) / lag_s
        return change

    def _coulomb(self, speed_rad_per_s: float, level_nm: float) -> float:
        return level_nm * float(np.tanh(speed_rad_per_s / self._width))
