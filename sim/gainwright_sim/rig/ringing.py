"""The sensor at the load, and how the load is shaken and heard, as ``rig_drive`` holds them."""

from __future__ import annotations

import cmath
import math
from typing import Any

from gainwright.language.model import Trial
from gainwright_sim.machine import LoadSensor, Machine
from gainwright_sim.plant.mounting import mounting_map

LINES = 84
"""``RIG_RING_LINES``."""
LOWEST_HZ = 1.0
RATIO = 1.04
"""Lines from 1 to 26 Hz."""
LENGTHS = 3
"""``RIG_RING_LENGTHS``: each window half as long as the next."""
LONGEST_WINDOW_S = 3.0
SHORTEST_WINDOW_S = 0.2
"""A shortest window below this is none: the moves are too short to hear a load ring."""
SHAKE_S = 0.15
"""Length of the bump: it makes anything from 1.5 to 12 Hz ring."""
SHAKE_SPEED_SHARE = 0.2
"""The bump adds at most this share of cruise speed, so that nothing on the way turns round ..."""
SHAKE_ACCELERATION_SHARE = 1.0
"""... and at most this share of the acceleration of a move."""
SHAKE_AFTER_S = 0.1
"""Of constant speed before a shake: the motor's angle may drift so much from move to move."""
SLOW_S = 0.5
"""Time constant by which the motor's drift is told from its swinging."""
FADED_S = 0.3
"""After the bump: from then on only what rings is left."""
TRAVEL_SHARE = 0.68
"""Of the travel window, the way between turning points that may be counted on."""


def window_ticks(machine: Machine, sequencer_tick_s: float) -> int:
    """Return the sequencer ticks of the longest of the windows in which the load is heard.

    Two of them, one behind the other, fit into the constant part of a move.
    """
    motion = machine.motion
    cruise = motion.cruise_speed_rad_per_s
    time_s = (
        TRAVEL_SHARE * motion.travel_window_rad / cruise
        - 2.0 * cruise / motion.acceleration_rad_per_s2
        - 2.0 * motion.acceleration_rad_per_s2 / motion.jerk_rad_per_s3
        - 2.0 * SHAKE_AFTER_S
        - SHAKE_S
        - FADED_S
    )
    return max(0, round(min(LONGEST_WINDOW_S, time_s / 2.0) / sequencer_tick_s))


def _set_mounting(drive: Any, sensor: LoadSensor, tick_s: float) -> None:
    if sensor.mounting_hz <= 0.0:
        return
    step, moved = mounting_map(sensor.mounting_hz, sensor.mounting_damping_ratio, tick_s)
    drive.load_mounted = 1
    drive.load_drag = 4.0 * math.pi * sensor.mounting_hz * sensor.mounting_damping_ratio
    for row in range(2):
        drive.load_moved[row] = moved[row]
        for column in range(2):
            drive.load_mounting[row][column] = step[row, column]


def set_load_sensor(drive: Any, machine: Machine, trial: Trial) -> None:
    """Fill in the sensor at the load, the shake and the hearing; nothing where there is none."""
    sensor, motion = machine.load_sensor, machine.motion
    if sensor is None:
        return
    drive.load_count_rad = sensor.resolution_rad
    drive.load_counts_per_rad = 1.0 / sensor.resolution_rad
    drive.load_delay_ticks = machine.load_delay_ticks
    _set_mounting(drive, sensor, machine.drive.control_tick_s)
    drive.shake_rad = min(
        SHAKE_SPEED_SHARE * motion.cruise_speed_rad_per_s * SHAKE_S / math.pi,
        SHAKE_ACCELERATION_SHARE * motion.acceleration_rad_per_s2 * SHAKE_S**2 / (2.0 * math.pi**2),
    )
    drive.shake_ticks = round(SHAKE_S / machine.drive.control_tick_s)
    tick_s = trial.tick_us * 1e-6
    drive.ring_slow_share = -math.expm1(-tick_s / SLOW_S)
    drive.shake_after_ticks = round(SHAKE_AFTER_S / tick_s)
    drive.ring_from_ticks = round((SHAKE_S + FADED_S) / tick_s)
    longest = window_ticks(machine, tick_s)
    for number in range(LENGTHS):
        drive.ring_ticks[number] = max(1, longest >> (LENGTHS - 1 - number))
    for number in range(LINES):
        hz = LOWEST_HZ * RATIO**number
        turn = cmath.exp(-2j * math.pi * hz * tick_s)
        line = drive.ring_line[number]
        line.turn_real, line.turn_imaginary = turn.real, turn.imag
        line.omega_rad_per_s = 2.0 * math.pi * hz
