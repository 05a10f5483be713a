"""Friction compensation of a drive, measured on the way: the reference for the C rig.

While the reference neither speeds up nor slows down and the axis really moves, the drive takes the
mean torque of its speed controller. Half the difference between the two directions is friction,
half their sum is weight. At the start of each move friction is fed forward with the sign of the
speed reference, and the integral part is led to the weight, so that it need not unwind first.
Neither changes a closed loop: the limit of stability is what it was. (That the axis moves matters:
an integral part that still unwinds says nothing of friction.)
"""

from __future__ import annotations

import math

from gainwright_sim.machine.model import Machine

LAG_S = 0.05
"""Of the low-pass of the torque."""
LEAST_S = 0.1
"""Shortest time of steady motion that is measured in."""
LEAST_SPEED_SHARE = 0.1
"""A slower mean speed, as a share of cruise speed, is no motion."""
FULL_SPEED_SHARE = 0.2
"""Speed reference from which on friction is fed forward in full, of cruise speed."""


class FrictionCompensation:
    """Measures friction and says what to feed forward; one per run."""

    def __init__(self, machine: Machine) -> None:
        tick_s = machine.drive.control_tick_s
        self._on = machine.speed_loop.friction_compensation == "measured"
        self._share = -math.expm1(-tick_s / LAG_S)
        cruise = machine.motion.cruise_speed_rad_per_s
        self._per_speed = 1.0 / (FULL_SPEED_SHARE * cruise)
        self._least_speed = LEAST_SPEED_SHARE * cruise
        self._least_ticks = max(1, round(LEAST_S / tick_s))
        self._rated_nm = machine.drive.rated_torque_nm
        self._torques: dict[bool, float] = {}
        self._mean_speed = self._mean_nm = self._friction_nm = self._weight_nm = 0.0
        self._applied_nm = self._led = 0.0
        self._direction = 0
        self._ticks = 0
        self._upwards = False

    def lead(self, reference_rad_per_s: float, integral_nm: float) -> float:
        """Return the torque of the integral part, led to the weight as a move sets in."""
        share = self._share_of(reference_rad_per_s)
        direction = int(share > 0.0) - int(share < 0.0)
        led = self._led
        if direction != self._direction:
            self._direction, self._applied_nm, led = direction, self._friction_nm, 0.0
        self._led = max(abs(share), led)
        if self._led == led or len(self._torques) < 2:
            return integral_nm
        return integral_nm + (self._weight_nm - integral_nm) * (self._led - led) / (1.0 - led)

    def torque_nm(self, reference_rad_per_s: float) -> float:
        """Return what is fed forward at a speed reference."""
        return self._applied_nm * self._share_of(reference_rad_per_s)

    def learn(self, torque_nm: float, speed_rad_per_s: float, steady: bool) -> None:
        """Take note of one tick.

        Args:
            torque_nm: of the controller, with what is fed forward.
            speed_rad_per_s: as measured.
            steady: whether the reference is at rest or at its constant speed.
        """
        self._mean_speed += self._share * (speed_rad_per_s - self._mean_speed)
        upwards = self._mean_speed > 0.0
        moves = abs(self._mean_speed) > self._least_speed
        if not (self._on and steady and moves and (self._ticks == 0 or upwards == self._upwards)):
            if self._ticks >= self._least_ticks:
                self._keep()
            self._ticks = 0
            return
        share = self._share if self._ticks else 1.0
        self._mean_nm += share * (torque_nm - self._mean_nm)
        self._ticks += 1
        self._upwards = upwards

    def _keep(self) -> None:
        self._torques[self._upwards] = self._mean_nm
        if len(self._torques) == 2:
            half = 0.5 * (self._torques[True] - self._torques[False])
            self._weight_nm = self._torques[True] - half
            self._friction_nm = min(max(half, 0.0), self._rated_nm)

    def _share_of(self, reference_rad_per_s: float) -> float:
        return min(max(reference_rad_per_s * self._per_speed, -1.0), 1.0)
