"""The drive's speed loop with weak position hold, tick by tick: the reference for the C rig.

Order within tick k: read the position; speed = backward difference over one tick (or the speed
sensor's value), then the optional low-pass w_f += a (w - w_f), a = 1 - exp(-Ts/Tf); e = speed
reference + Kv (position reference - position) - w_f; I takes e first (I += e Ts/Tn), then
u = Kp (e + I); where u exceeds the torque limit it is cut and I keeps its old value. When Kp
changes, I is multiplied by old Kp / new Kp, so that the torque of the integral part does not jump.
What friction compensation feeds forward is part of u. A test pulse is added to u and the sum cut
again. The torque of tick k is applied from tick k + d
on, held, through the current loop.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from gainwright_sim.machine.model import Machine
from gainwright_sim.plant.axis import Axis
from gainwright_sim.plant.compensation import FrictionCompensation
from gainwright_sim.plant.disturbance import interpolated_angle


@dataclass(frozen=True, slots=True)
class LoopSample:
    """What the drive saw and asked for in one tick."""

    position_rad: float
    """As the encoder shows it."""
    speed_rad_per_s: float
    """As measured, filtered."""
    speed_error_rad_per_s: float
    controller_torque_nm: float
    """After the torque limit, before the test pulse: what a detector sees."""
    torque_command_nm: float
    """With the test pulse, after the torque limit; takes effect ``torque_delay_ticks`` later."""
    torque_limited: bool
    """Whether the speed controller alone asked for more than the limit."""


class DriveLoop:
    """Runs an axis in closed loop. The gains are attributes and may change at any tick.

    ``ideal`` leaves out encoder steps and torque limit, as linear theory does.
    """

    def __init__(self, machine: Machine, axis: Axis, *, ideal: bool = False) -> None:
        drive, loop = machine.drive, machine.speed_loop
        self.axis = axis
        self._machine = machine
        self._compensation = FrictionCompensation(machine)
        self._speed_gain = loop.start_speed_gain_nms_per_rad
        self.integral_time_s = loop.integral_time_s
        self.hold_gain_per_s = loop.hold_gain_per_s
        self._tick_s = drive.control_tick_s
        self._counts_per_rad = 0.0 if ideal else drive.encoder_counts_per_turn / (2.0 * math.pi)
        self._limit_nm = math.inf if ideal else drive.torque_limit_nm
        filter_s = drive.speed_filter_time_constant_s
        self._filter_share = 1.0 - math.exp(-self._tick_s / filter_s) if filter_s > 0.0 else 1.0
        self._has_speed_sensor = drive.speed_source == "sensor"
        self._speed_state = machine.chain.body_count
        self._queue = deque([0.0] * drive.torque_delay_ticks)
        self._position_rad = self._read_position()
        self._speed_rad_per_s = 0.0
        self._integral = 0.0

    @property
    def speed_gain_nms_per_rad(self) -> float:
        return self._speed_gain

    @speed_gain_nms_per_rad.setter
    def speed_gain_nms_per_rad(self, gain: float) -> None:
        if gain not in (self._speed_gain, 0.0):
            self._integral *= self._speed_gain / gain
        self._speed_gain = gain

    def _read_position(self) -> float:
        angle = float(self.axis.state[0])
        if self._counts_per_rad == 0.0:
            return angle
        angle = interpolated_angle(self._machine, angle)
        return math.floor(angle * self._counts_per_rad) / self._counts_per_rad

    def tick(
        self,
        position_reference_rad: float = 0.0,
        speed_reference_rad_per_s: float = 0.0,
        *,
        steady: bool = False,
        added_torque_nm: float = 0.0,
        torque_noise_nm: float = 0.0,
    ) -> LoopSample:
        """Do one control tick and move the axis on by it.

        ``steady`` says that the reference is at rest or at its constant speed, which lets
        friction be measured. ``added_torque_nm`` is a test pulse; ``torque_noise_nm`` is what the
        amplifier adds to the torque that is applied in this tick.
        """
        position = self._read_position()
        speed = self._measure_speed(position)
        self._position_rad = position
        self._speed_rad_per_s += self._filter_share * (speed - self._speed_rad_per_s)
        error = (
            speed_reference_rad_per_s
            + self.hold_gain_per_s * (position_reference_rad - position)
            - self._speed_rad_per_s
        )
        wanted, limited = self._control(error, speed_reference_rad_per_s)
        self._compensation.learn(wanted, self._speed_rad_per_s, steady)
        command = self._limit(wanted + added_torque_nm)
        self._queue.append(command)
        self.axis.advance(self._queue.popleft() + torque_noise_nm)
        return LoopSample(position, self._speed_rad_per_s, error, wanted, command, limited)

    def _measure_speed(self, position_rad: float) -> float:
        if self._has_speed_sensor:
            return float(self.axis.state[self._speed_state])
        return (position_rad - self._position_rad) / self._tick_s

    def _limit(self, torque_nm: float) -> float:
        return min(max(torque_nm, -self._limit_nm), self._limit_nm)

    def _control(self, error: float, speed_reference_rad_per_s: float) -> tuple[float, bool]:
        compensation, has_integral = self._compensation, self.integral_time_s > 0.0
        if has_integral and self._speed_gain > 0.0:
            integral_nm = self._integral * self._speed_gain
            led_nm = compensation.lead(speed_reference_rad_per_s, integral_nm)
            self._integral = led_nm / self._speed_gain
        integral = self._integral
        if has_integral:
            integral += error * self._tick_s / self.integral_time_s
        command = self._speed_gain * (error + integral)
        command += compensation.torque_nm(speed_reference_rad_per_s)
        limited = abs(command) > self._limit_nm
        if not limited:
            self._integral = integral
        return self._limit(command), limited
