"""The frequencies at which the answer to a step of the position is transformed."""

from __future__ import annotations

import cmath
import math
from typing import Any

from gainwright_sim.machine import Machine

LINES = 288
"""``RIG_LINES``."""
SLOW_LINES = 150
"""``RIG_SLOW_LINES``: those up to 60 Hz."""
LINE_TICKS_MAX = 1_000_000
"""``RIG_LINE_TICKS_MAX``."""
LOWEST_HZ = 1.5
RATIO = 1.025
PERIODS = 40.0
"""A line is watched for so many of its periods: it is as wide as the step to the next ..."""
SLOW_S = 2.0
"""... and a slow one for so long, as a lightly damped load takes."""
LEAST_PERIODS = 1.5
"""So many it takes to say anything."""
TAIL_FROM_S = 0.4
"""What is left of the answer so long after the step is what rings on."""
BLOCK_S = 0.05
"""It is kept in blocks of this length: two windows of whole blocks tell how it dies away."""


def line_hz(number: int, tick_s: float) -> float:
    """Return the frequency of a line, 0 to LINES - 1; never above 0.4 of the control rate."""
    return min(LOWEST_HZ * RATIO**number, 0.4 / tick_s)


def set_lines(drive: Any, machine: Machine) -> None:
    """Fill in the lines of a ``rig_drive`` whose encoder is set."""
    tick_s = machine.drive.control_tick_s
    drive.tail_from_ticks = round(TAIL_FROM_S / tick_s)
    drive.swing_block_ticks = max(1, round(BLOCK_S / tick_s))
    for number in range(LINES):
        hz = line_hz(number, tick_s)
        turn = cmath.exp(-2j * math.pi * hz * tick_s)
        whole_s = max(PERIODS / hz, SLOW_S) if number < SLOW_LINES else PERIODS / hz
        line = drive.line[number]
        line.turn_real, line.turn_imaginary = turn.real, turn.imag
        line.omega_rad_per_s = 2.0 * math.pi * hz
        line.ticks = min(LINE_TICKS_MAX, round(whole_s / tick_s))
        line.least_ticks = round(LEAST_PERIODS / hz / tick_s)
        # A count more or less in each tick, seen as speed and as its change.
        counts = drive.encoder.count_rad / tick_s * math.sqrt(line.ticks / 12.0)
        line.noise = abs(1.0 - turn) ** 2 * counts
