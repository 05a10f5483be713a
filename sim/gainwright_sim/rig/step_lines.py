"""The frequencies at which the answer to a step of the position is transformed."""

from __future__ import annotations

import cmath
import math
from typing import Any

from gainwright_sim.machine import Machine
from gainwright_sim.rig.ringing import TRAVEL_SHARE

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
"""What is left of the answer so long after the step is what rings on, at the latest ..."""
TAIL_EARLY_S = 0.1
"""... and at the earliest, where the constant speed lasts for a quarter of ..."""
STEADY_S = 1.5
"""... this: where it lasts so long, enough is left after the latest."""
BLOCK_S = 0.05
"""It is kept in blocks of this length: two windows of whole blocks tell how it dies away."""
SLOW_BIN_S = 0.02
"""... and in shorter ones, for a load that swings slowly: its periods are told one by one."""


def line_hz(number: int, tick_s: float) -> float:
    """Return the frequency of a line, 0 to LINES - 1; never above 0.4 of the control rate."""
    return min(LOWEST_HZ * RATIO**number, 0.4 / tick_s)


def _early_s(machine: Machine) -> float:
    """Return when after a step a tail begins at the earliest."""
    motion = machine.motion
    cruise, acceleration = motion.cruise_speed_rad_per_s, motion.acceleration_rad_per_s2
    ramp_s = cruise / acceleration + acceleration / motion.jerk_rad_per_s3
    steady_s = TRAVEL_SHARE * motion.travel_window_rad / cruise - ramp_s
    share = min(1.0, max(0.0, steady_s / STEADY_S))
    return max(TAIL_EARLY_S, TAIL_FROM_S * share)


def set_lines(drive: Any, machine: Machine) -> None:
    """Fill in the lines of a ``rig_drive`` whose encoder is set."""
    tick_s = machine.drive.control_tick_s
    drive.tail_from_ticks = round(TAIL_FROM_S / tick_s)
    drive.tail_early_ticks = round(_early_s(machine) / tick_s)
    drive.swing_block_ticks = max(1, round(BLOCK_S / tick_s))
    drive.slow_bin_ticks = max(1, round(SLOW_BIN_S / tick_s))
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
