"""Exact discretisation of the axis over one control tick, torques held (zero-order hold).

States, in this order: angles, speeds (as in :mod:`gainwright_sim.plant.chain`), torque behind the
current loop. Method: matrix exponential of the augmented matrix (Van Loan 1978, IEEE Trans. Autom.
Control 23(3):395, cited from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gainwright_sim.machine.model import Chain, Friction, Machine
from gainwright_sim.plant.chain import Matrix, continuous_state_space
from gainwright_sim.plant.matrix_exponential import matrix_exponential


@dataclass(frozen=True, slots=True)
class DiscretePlant:
    """x(k+1) = a x(k) + command u(k) + motor m(k) + load l(k); N = 2 masses + 1 states.

    ``command`` belongs to the torque command (through the current loop), ``motor`` and ``load`` to
    torques that act directly on the first and last mass (friction, gravity), all held over the tick
    and all in Nm. Without a current loop the last state only repeats the command.
    """

    a: Matrix
    command: Matrix
    motor: Matrix
    load: Matrix
    mass_count: int
    """Angles among the states, that of a base included."""
    has_base: bool = False

    @property
    def motor_speed(self) -> int:
        """Index of the motor speed; the motor angle has index 0, the torque index -1."""
        return self.mass_count

    @property
    def load_speed(self) -> int:
        return 2 * self.mass_count - 1

    @property
    def load_angle(self) -> int:
        return self.mass_count - 1


def discretise(
    chain: Chain,
    friction: Friction | None,
    control_tick_s: float,
    current_loop_time_constant_s: float = 0.0,
) -> DiscretePlant:
    """Return the exact held-input model of the chain, viscous friction and current loop."""
    plant, inputs = continuous_state_space(chain, friction)
    states = plant.shape[0]
    lag_s = current_loop_time_constant_s
    # Block matrix of plant, torque behind the current loop, and the three held inputs.
    block = np.zeros((states + 4, states + 4))
    block[:states, :states] = plant
    motor_source = states if lag_s > 0.0 else states + 1
    block[:states, motor_source] = inputs[:, 0]
    block[:states, states + 2 :] = inputs
    if lag_s > 0.0:
        block[states, states] = -1.0 / lag_s
        block[states, states + 1] = 1.0 / lag_s
    step = matrix_exponential(block * control_tick_s)
    a = step[: states + 1, : states + 1].copy()
    command = step[: states + 1, states + 1].copy()
    if lag_s <= 0.0:
        a[states, states] = 0.0
        command[states] = 1.0
    return DiscretePlant(
        a=a,
        command=command,
        motor=step[: states + 1, states + 2].copy(),
        load=step[: states + 1, states + 3].copy(),
        mass_count=chain.body_count,
        has_base=chain.base is not None,
    )


def discretise_machine(machine: Machine) -> DiscretePlant:
    """Return :func:`discretise` of a machine's own chain, friction and drive timing."""
    drive = machine.drive
    return discretise(
        machine.chain, machine.friction, drive.control_tick_s, drive.current_loop_time_constant_s
    )
