"""Textbook plants as sampled loops of the kind that :mod:`gainwright_sim.theory` judges."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy.signal import cont2discrete, tf2ss

from gainwright_sim.theory.closed_loop import ClosedLoop


def sampled_loop(
    numerator: Sequence[float], denominator: Sequence[float], tick_s: float, dead_ticks: int = 0
) -> ClosedLoop:
    """Return the loop u = -K y around numerator(s) / denominator(s), its input held for a tick.

    The output arrives ``dead_ticks`` ticks late.
    """
    a, b, c, _, _ = cont2discrete(tf2ss(numerator, denominator), tick_s)
    order, whole = len(a), len(a) + dead_ticks
    base, injection, output = np.zeros((whole, whole)), np.zeros(whole), np.zeros(whole)
    base[:order, :order], injection[:order] = a, b[:, 0]
    base[order:, order:] = np.eye(dead_ticks, k=-1)
    if dead_ticks:
        base[order, :order], output[-1] = c[0], 1.0
    else:
        output[:order] = c[0]
    return ClosedLoop(base, injection, -output, tick_s)


def output_matrix(mass_count: int) -> npt.NDArray[np.float64]:
    """Return C (4 x 2n) of a chain: motor angle, motor speed, load angle, load speed."""
    n = mass_count
    c = np.zeros((4, 2 * n))
    c[0, 0] = c[1, n] = c[2, n - 1] = c[3, 2 * n - 1] = 1.0
    return c
