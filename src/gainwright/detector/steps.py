"""How loud an encoder's steps are at a constant speed, behind the speed filter."""

from __future__ import annotations

import math

import numpy as np

from gainwright.detector.timing import DriveTiming

STEPS_RMS = 0.5
"""Largest root mean square of what an encoder's steps make of a constant speed, in steps of one
count per control tick: a difference of k or k + 1 counts."""
_SHARES = np.arange(1, 101) / 200.0
"""Of ticks with one count more; above a half it is the same with one count less."""
_HARMONICS = np.arange(1, 65)[:, None]


def filtered_steps_rms(timing: DriveTiming) -> float:
    """Return the largest root mean square, in counts per control tick, STEPS_RMS without a filter.

    A share p of the ticks has one count more: lines at n p of the control rate, of amplitude
    2 sin(pi n p) / (pi n) (Fourier series of a pulse train), through the sampled low-pass
    w += a (x - w), a = 1 - exp(-Ts/Tf).
    """
    if timing.speed_filter_time_constant_s <= 0.0:
        return STEPS_RMS
    pole = math.exp(-timing.control_tick_s / timing.speed_filter_time_constant_s)
    angles = 2 * np.pi * _HARMONICS * _SHARES
    passed = (1 - pole) ** 2 / (1 + pole**2 - 2 * pole * np.cos(angles))
    lines = 2 * (np.sin(angles / 2) / (np.pi * _HARMONICS)) ** 2
    return min(STEPS_RMS, math.sqrt(float((lines * passed).sum(axis=0).max())))
