"""The drive's move generator, tick by tick: the reference for ``rig_motion.h``.

A time-optimal trapezoid of speed runs towards a target that may change at any time; a moving
average over a fixed number of ticks then limits the jerk to acceleration / averaging time, and can
never leave the hull of the positions it averages.
"""

from __future__ import annotations

import math
from collections import deque

from gainwright_sim.machine.model import Machine

LONGEST_SMOOTHING_TICKS = 4096


def smoothing_ticks(machine: Machine) -> int:
    """Return over how many ticks the position is averaged: acceleration / jerk, in ticks."""
    motion = machine.motion
    jerk_time_s = motion.acceleration_rad_per_s2 / motion.jerk_rad_per_s3
    ticks = round(jerk_time_s / machine.drive.control_tick_s)
    return min(LONGEST_SMOOTHING_TICKS, max(1, ticks))


class MoveGenerator:
    """Makes the references of position and speed on the motor shaft; starts at rest."""

    def __init__(self, machine: Machine, position_rad: float = 0.0) -> None:
        self._tick_s = machine.drive.control_tick_s
        self._cruise = machine.motion.cruise_speed_rad_per_s
        self._acceleration = machine.motion.acceleration_rad_per_s2
        self._ring = deque([position_rad] * smoothing_ticks(machine))
        self._sum_rad = position_rad * len(self._ring)
        self._cruise_ticks = 0
        self._rest_ticks = len(self._ring)
        self._trapezoid_rad = position_rad
        self._trapezoid_speed = 0.0
        self.position_rad = position_rad
        self.speed_rad_per_s = 0.0

    @property
    def cruising(self) -> bool:
        """Whether the averaged reference, too, has reached its constant speed."""
        return self._cruise_ticks > len(self._ring)

    @property
    def resting(self) -> bool:
        """Whether the averaged reference, too, has come to rest."""
        return self._rest_ticks >= len(self._ring)

    @property
    def steady(self) -> bool:
        """Whether it neither speeds up nor slows down."""
        return self.cruising or self.resting

    def tick(self, target_rad: float, enabled: bool = True) -> None:
        """Move on by one control tick; not enabled means decelerate to rest and stay."""
        before = self.position_rad
        self._advance_trapezoid(target_rad, enabled)
        self._sum_rad += self._trapezoid_rad - self._ring.popleft()
        self._ring.append(self._trapezoid_rad)
        self.position_rad = self._sum_rad / len(self._ring)
        self.speed_rad_per_s = (self.position_rad - before) / self._tick_s
        at_cruise = abs(self._trapezoid_speed) >= self._cruise
        self._cruise_ticks = self._cruise_ticks + 1 if at_cruise else 0
        self._rest_ticks = self._rest_ticks + 1 if self._trapezoid_speed == 0.0 else 0

    def _advance_trapezoid(self, target_rad: float, enabled: bool) -> None:
        change = self._acceleration * self._tick_s
        distance = target_rad - self._trapezoid_rad
        speed = self._trapezoid_speed
        if not enabled:
            self._trapezoid_speed = math.copysign(max(abs(speed) - change, 0.0), speed)
        elif abs(distance) <= 2.0 * change * self._tick_s and abs(speed) <= 2.0 * change:
            self._trapezoid_rad, self._trapezoid_speed = target_rad, 0.0
            return
        else:
            self._trapezoid_speed = self._speed_towards(distance)
        self._trapezoid_rad += self._trapezoid_speed * self._tick_s

    def _speed_towards(self, distance: float) -> float:
        change = self._acceleration * self._tick_s
        direction = -1.0 if distance < 0.0 else 1.0
        ahead = direction * self._trapezoid_speed
        if self._can_stop(ahead + change, direction * distance):
            return direction * min(ahead + change, self._cruise)
        if self._can_stop(ahead, direction * distance):
            return direction * ahead
        return direction * (ahead - change)

    def _can_stop(self, ahead: float, distance: float) -> bool:
        """Whether this speed still leaves room to stop, with one tick of travel in hand."""
        room = distance - ahead * self._tick_s
        return ahead * ahead <= 2.0 * self._acceleration * room
