"""A chain of masses as a linear state space in continuous time.

States, in this order: angle of each mass [rad], motor first; speed of each mass [rad/s]. Inputs:
torque on the motor [Nm], torque on the load [Nm]. Equation of motion of mass i, from Newton's
second law: J_i dw_i/dt = spring and damper torques of its neighbours + input - viscous friction.

With a base the order is motor, base, other masses; the base's angle is against the ground, all
others are against the base, as an encoder on it sees them. Torques on motor and load, and friction,
act back on the base (Newton's third law).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gainwright_sim.machine.model import Base, Chain, Friction

Matrix = NDArray[np.float64]


def laplacian(link_values: tuple[float, ...], mass_count: int) -> Matrix:
    """Return the n x n matrix that turns angles (speeds) into spring (damper) torques."""
    matrix = np.zeros((mass_count, mass_count))
    for link, value in enumerate(link_values):
        pair = np.ix_((link, link + 1), (link, link + 1))
        matrix[pair] += value * np.array(((1.0, -1.0), (-1.0, 1.0)))
    return matrix


def continuous_state_space(chain: Chain, friction: Friction | None = None) -> tuple[Matrix, Matrix]:
    """Return (A, B), of shapes 2n x 2n and 2n x 2, with dx/dt = A x + B (motor, load torque).

    Of ``friction`` only the viscous part is linear and used here.
    """
    if chain.base is not None:
        return _on_base(chain, chain.base, friction)
    n = chain.mass_count
    inertia = np.asarray(chain.inertias_kgm2)
    damping = laplacian(chain.dampings_nms_per_rad, n)
    if friction is not None:
        damping[0, 0] += friction.motor_viscous_nms_per_rad
        damping[-1, -1] += friction.load_viscous_nms_per_rad
    a = np.zeros((2 * n, 2 * n))
    a[:n, n:] = np.eye(n)
    a[n:, :n] = -laplacian(chain.stiffnesses_nm_per_rad, n) / inertia[:, None]
    a[n:, n:] = -damping / inertia[:, None]
    b = np.zeros((2 * n, 2))
    b[n, 0] = 1.0 / inertia[0]
    b[2 * n - 1, 1] = 1.0 / inertia[-1]
    return a, b


def _on_base(chain: Chain, base: Base, friction: Friction | None) -> tuple[Matrix, Matrix]:
    """Return the same for a chain on a base: against the ground first, then against the base."""
    n = chain.mass_count
    size = n + 1
    inertia = np.array((*chain.inertias_kgm2, base.inertia_kgm2))
    stiffness, damping = np.zeros((size, size)), np.zeros((size, size))
    stiffness[:n, :n] = laplacian(chain.stiffnesses_nm_per_rad, n)
    damping[:n, :n] = laplacian(chain.dampings_nms_per_rad, n)
    stiffness[n, n] += base.stiffness_nm_per_rad
    damping[n, n] += base.damping_nms_per_rad
    torques = np.zeros((size, 2))
    for column, mass in enumerate((0, n - 1)):
        torques[mass, column] += 1.0
        torques[n, column] -= 1.0
    if friction is not None:
        viscous = friction.motor_viscous_nms_per_rad, friction.load_viscous_nms_per_rad
        damping += torques @ np.diag(viscous) @ torques.T
    order = [0, n, *range(1, n)]
    to_base = np.eye(size)
    to_base[:n, n] = -1.0
    seen, back = to_base[order], np.linalg.inv(to_base[order])
    a, b = np.zeros((2 * size, 2 * size)), np.zeros((2 * size, 2))
    a[:size, size:] = np.eye(size)
    a[size:, :size] = -seen @ (stiffness / inertia[:, None]) @ back
    a[size:, size:] = -seen @ (damping / inertia[:, None]) @ back
    b[size:] = seen @ (torques / inertia[:, None])
    return a, b


BASE = 1
"""Place of the base among the angles, where there is one."""


def resonances_hz(chain: Chain) -> tuple[float, ...]:
    """Return the undamped natural frequencies of the free chain, rising, rigid motion left out."""
    return _natural_frequencies_hz(chain.stiffnesses_nm_per_rad, chain.inertias_kgm2, clamped=0)[1:]


def anti_resonances_hz(chain: Chain) -> tuple[float, ...]:
    """Return the zeros of motor torque to motor speed: the load side with the motor held fast."""
    return _natural_frequencies_hz(chain.stiffnesses_nm_per_rad, chain.inertias_kgm2, clamped=1)


def _natural_frequencies_hz(
    stiffnesses: tuple[float, ...], inertias: tuple[float, ...], clamped: int
) -> tuple[float, ...]:
    root = np.sqrt(np.asarray(inertias))[clamped:]
    stiffness = laplacian(stiffnesses, len(inertias))[clamped:, clamped:]
    squares = np.linalg.eigvalsh(stiffness / np.outer(root, root))
    return tuple(float(w) for w in np.sqrt(np.maximum(squares, 0.0)) / (2.0 * np.pi))
