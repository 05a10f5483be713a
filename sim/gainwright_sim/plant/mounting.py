"""A sensor's head on a bracket that gives way: what it reads when what it is fixed to moves.

The head's mass m hangs on a spring and a damper: m y'' = k (x - y) + d (x' - y'), so that
y'' = w^2 (x - y) + 2 z w (x' - y') with w = sqrt(k / m), the transfer function
(2 z w s + w^2) / (s^2 + 2 z w s + w^2): textbook vibration of a moved foot (cited from memory).
With v = y' - 2 z w x no derivative of x is left. Over a control tick x is held.
"""

from __future__ import annotations

import math

import numpy as np

from gainwright_sim.plant.chain import Matrix
from gainwright_sim.plant.matrix_exponential import matrix_exponential


def mounting_map(mounting_hz: float, damping_ratio: float, tick_s: float) -> tuple[Matrix, Matrix]:
    """Return how (y, v) goes on in a tick: a (2 x 2) on itself, b (2,) on the position x.

    Args:
        mounting_hz: above 0.
        damping_ratio: z, from 0 to 1.
        tick_s: control tick.
    """
    omega = 2.0 * math.pi * mounting_hz
    drag = 2.0 * damping_ratio * omega
    whole = np.zeros((3, 3))
    whole[0] = (0.0, 1.0, drag)
    whole[1] = (-omega * omega, -drag, omega * omega - drag * drag)
    step = matrix_exponential(whole * tick_s)
    return step[:2, :2], step[:2, 2]
