"""The sampled speed loop of one axis as a linear map from tick to tick.

Timing as in the drive: position is read at tick k; speed is its backward difference, then an
optional low-pass w_f += a (w - w_f), a = 1 - exp(-Ts/Tf); I += e Ts/Tn, u = Kp (e + I), so that the
integral holds the present e and the controller is Kp (1 + alpha z/(z-1)), alpha = Ts/Tn; the torque
of tick k is applied from tick k + d on, held. Position hold: Kv (reference - position) is added to
the speed reference. Encoder steps, Coulomb friction and the torque limit are not linear and left
out.

Each gain enters as a factor of one rank-one matrix, A(gain) = base + gain injection feedback^T, so
that whole gain ladders are cheap.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise

import numpy as np

from gainwright.detector.timing import DriveTiming
from gainwright_sim.machine.model import (
    Chain,
    Friction,
    Machine,
    PositionSource,
    start_settings,
)
from gainwright_sim.plant.chain import BASE, Matrix
from gainwright_sim.plant.discrete import DiscretePlant, discretise
from gainwright_sim.plant.mounting import mounting_map


@dataclass(frozen=True, slots=True)
class ClosedLoop:
    """A(gain) = base + gain outer(injection, feedback), N x N; gain in Nms/rad or 1/s."""

    base: Matrix
    injection: Matrix
    feedback: Matrix
    tick_s: float

    def matrix(self, gain: float) -> Matrix:
        """Return the state matrix (N x N) at a gain."""
        return self.base + gain * np.outer(self.injection, self.feedback)

    def spectral_radii(self, gains: Sequence[float] | Matrix) -> Matrix:
        """Return the largest eigenvalue modulus for each of a row of gains."""
        row = np.asarray(gains, dtype=float)
        stack = self.base + row[:, None, None] * np.outer(self.injection, self.feedback)
        return np.abs(np.linalg.eigvals(stack)).max(axis=1)

    def dominant_eigenvalue(self, gain: float) -> complex:
        """Return the eigenvalue of largest modulus, the one of a pair with positive angle."""
        values = np.linalg.eigvals(self.matrix(gain))
        value = complex(values[np.argmax(np.abs(values))])
        return complex(value.real, abs(value.imag))


@dataclass(frozen=True, slots=True)
class LoopTiming(DriveTiming):
    """Everything about the controller but its gains."""

    integral_time_s: float = 0.0
    """0 = P only."""
    load_sensor_delay_ticks: int = 0
    """Whole ticks by which a sensor at the load is late."""
    load_mounting_hz: float = 0.0
    """Of that sensor's head on its bracket; 0: rigidly fixed to the load."""
    load_mounting_damping_ratio: float = 0.0

    @property
    def integral_share(self) -> float:
        """Ts/Tn, or 0 without integral part."""
        return self.control_tick_s / self.integral_time_s if self.integral_time_s > 0.0 else 0.0


def speed_loop(
    chain: Chain,
    friction: Friction | None,
    timing: LoopTiming,
    hold_gain_per_s: float = 0.0,
    hold_source: PositionSource = "motor",
) -> ClosedLoop:
    """Return the loop as a function of the speed gain Kp [Nms/rad], the position gain fixed.

    Without position hold the absolute position, whose eigenvalue is exactly 1 and which nothing
    depends on, is left out.
    """
    parts = _Parts(chain, friction, timing, absolute=hold_gain_per_s > 0.0)
    error = -parts.filtered_speed - hold_gain_per_s * parts.position(hold_source)
    return ClosedLoop(*parts.close_speed_loop(error), timing.control_tick_s)


def integral_loop(
    chain: Chain,
    friction: Friction | None,
    timing: LoopTiming,
    speed_gain_nms_per_rad: float,
    hold_gain_per_s: float = 0.0,
    hold_source: PositionSource = "motor",
) -> ClosedLoop:
    """Return the loop as a function of the integral rate 1/Tn [1/s], the other gains fixed.

    ``timing.integral_time_s`` does not count.
    """
    parts = _Parts(chain, friction, timing, absolute=hold_gain_per_s > 0.0)
    error = -parts.filtered_speed - hold_gain_per_s * parts.position(hold_source)
    base, injection = parts.base.copy(), speed_gain_nms_per_rad * parts.injection
    base[parts.integral, parts.integral] = 1.0
    base += np.outer(injection, error + base[parts.integral, :])
    both = injection.copy()
    both[parts.integral] += 1.0
    return ClosedLoop(base, timing.control_tick_s * both, error, timing.control_tick_s)


def position_loop(
    chain: Chain,
    friction: Friction | None,
    timing: LoopTiming,
    speed_gain_nms_per_rad: float,
    source: PositionSource = "motor",
) -> ClosedLoop:
    """Return the loop as a function of the position gain Kv [1/s], the speed gain fixed."""
    parts = _Parts(chain, friction, timing, absolute=True)
    base, injection, feedback = parts.close_speed_loop(-parts.filtered_speed)
    share = timing.integral_share
    both = speed_gain_nms_per_rad * (1.0 + share) * injection
    both[parts.integral] += share
    return ClosedLoop(
        base + speed_gain_nms_per_rad * np.outer(injection, feedback),
        both,
        -parts.position(source),
        timing.control_tick_s,
    )


HEAD_STATES = 2
"""Of a sensor's head on its bracket."""


class _Parts:
    """States: plant, position increment, filtered speed, integral, queue of torques (newest first),
    queue of positions of the load (newest first), head of its sensor on a bracket.

    ``base`` is the map without controller; the controller's torque enters by ``injection``.
    """

    def __init__(
        self, chain: Chain, friction: Friction | None, timing: LoopTiming, *, absolute: bool
    ) -> None:
        plant = discretise(
            chain, friction, timing.control_tick_s, timing.current_loop_time_constant_s
        )
        step, command, increment = _relative_coordinates(plant)
        first = 0 if absolute else 1
        states = step.shape[0] - first
        self._absolute, self._twists, self._timing = absolute, _row_of(plant), timing
        self._plant, self._increment, self._filter = states, states, states + 1
        self.integral = states + 2
        self._late = states + 3 + timing.torque_delay_ticks
        self._head = self._late + timing.load_sensor_delay_ticks
        size = self._head + (HEAD_STATES if timing.load_mounting_hz > 0.0 else 0)
        self.base = np.zeros((size, size))
        self.injection = np.zeros(size)
        self.base[:states, :states] = step[first:, first:]
        self.base[self._increment, :states] = increment[first:-1]
        torque = np.zeros(size)
        torque[:states], torque[self._increment] = command[first:], increment[-1]
        self._queue_torque(torque)
        self._move_head()
        self._queue_load_positions()
        self.filtered_speed = self._filtered(self._measured_speed(plant.motor_speed - first))

    def _queue_torque(self, torque: Matrix) -> None:
        """Let ``torque``, the effect of one Nm over a tick, come from the end of the queue."""
        newest, oldest = self.integral + 1, self.integral + self._timing.torque_delay_ticks
        if oldest < newest:
            self.injection = torque
            return
        self.base[:, oldest] += torque
        for slot in range(newest + 1, oldest + 1):
            self.base[slot, slot - 1] = 1.0
        self.injection[newest] = 1.0

    def _move_head(self) -> None:
        """Let the head of the load's sensor go on, where it is not rigidly fixed to the load."""
        hertz, ratio = self._timing.load_mounting_hz, self._timing.load_mounting_damping_ratio
        if hertz <= 0.0:
            return
        step, moved = mounting_map(hertz, ratio, self._timing.control_tick_s)
        self.base[self._head :, :] = np.outer(moved, self._present_position("load"))
        self.base[self._head :, self._head :] = step

    def _queue_load_positions(self) -> None:
        row = self._read_position()
        for slot in range(self._late, self._head):
            self.base[slot, :] = row
            row = np.eye(self.base.shape[0])[slot]

    def _read_position(self) -> Matrix:
        """Return the row of what the sensor at the load reads at this tick."""
        if self._timing.load_mounting_hz > 0.0 and self._absolute:
            return np.eye(self.base.shape[0])[self._head]
        return self._present_position("load")

    def _measured_speed(self, true_speed: int) -> Matrix:
        row = np.zeros(self.base.shape[0])
        if self._timing.speed_source == "sensor":
            row[true_speed] = 1.0
        else:
            row[self._increment] = 1.0 / self._timing.control_tick_s
        return row

    def _filtered(self, measured: Matrix) -> Matrix:
        """Put the low-pass into ``base``; return the row of the filtered speed of this tick."""
        time_constant_s = self._timing.speed_filter_time_constant_s
        if time_constant_s <= 0.0:
            return measured
        share = 1.0 - math.exp(-self._timing.control_tick_s / time_constant_s)
        row = share * measured
        row[self._filter] += 1.0 - share
        self.base[self._filter, :] = row
        return row

    def position(self, source: PositionSource) -> Matrix:
        """Return the row of the measured position; zero where the position is left out."""
        if source == "load" and self._timing.load_sensor_delay_ticks > 0:
            return np.eye(self.base.shape[0])[self._head - 1]
        return self._read_position() if source == "load" else self._present_position(source)

    def _present_position(self, source: PositionSource) -> Matrix:
        row = np.zeros(self.base.shape[0])
        if self._absolute:
            row[0 if source == "motor" else self._twists] = 1.0
        return row

    def close_speed_loop(self, error: Matrix) -> tuple[Matrix, Matrix, Matrix]:
        """Return (base with the integral of ``error``, injection, feedback row e + I)."""
        share = self._timing.integral_share
        base = self.base.copy()
        if share > 0.0:
            base[self.integral, :] = share * error
            base[self.integral, self.integral] += 1.0
        return base, self.injection.copy(), error + base[self.integral, :]


def _row_of(plant: DiscretePlant) -> list[int]:
    """Return the places of the masses in the row, a base left out."""
    return [mass for mass in range(plant.mass_count) if not plant.has_base or mass != BASE]


def _relative_coordinates(plant: DiscretePlant) -> tuple[Matrix, Matrix, Matrix]:
    """Return the plant with the angles replaced by motor angle and twists of the springs.

    In these the motor angle drives nothing, so that leaving it out is exact. The last item is what
    the motor angle gains over one tick, as a row on the states and, at its end, the command.
    """
    size = plant.a.shape[0]
    change = np.eye(size)
    for before, mass in pairwise(_row_of(plant)):
        change[mass, before] = -1.0
    step = change @ plant.a @ np.linalg.inv(change)
    # Exactly so in theory (moving the whole axis on its base changes no force); rounding removed.
    step[:, 0] = 0.0
    step[0, 0] = 1.0
    command = change @ plant.command
    increment = np.append(step[0], command[0])
    increment[0] = 0.0
    return step, command, increment


LOAD_SETTING = "load_position_gain"
"""Setting that closes the position loop over the sensor at the load, not over the motor's."""


@dataclass(frozen=True, slots=True)
class _Axis:
    """A machine with the values of all its settings but the one that is looked at."""

    chain: Chain
    friction: Friction
    timing: LoopTiming
    speed_gain: float
    hold_gain: float
    source: PositionSource


@dataclass(frozen=True, slots=True)
class SettingLoop:
    """What theory must know of a setting."""

    loop: Callable[[_Axis], ClosedLoop]
    """The closed loop as a function of the setting, in its unit."""
    highest: Callable[[Machine], float]
    """No axis is stable beyond this value."""


def _speed_gain_loop(a: _Axis) -> ClosedLoop:
    return speed_loop(a.chain, a.friction, a.timing, a.hold_gain, a.source)


def _integral_rate_loop(a: _Axis) -> ClosedLoop:
    return integral_loop(a.chain, a.friction, a.timing, a.speed_gain, a.hold_gain, a.source)


def _position_gain_loop(a: _Axis) -> ClosedLoop:
    return position_loop(a.chain, a.friction, a.timing, a.speed_gain, a.source)


def _highest_speed_gain(machine: Machine) -> float:
    """No sampled inertia stays stable beyond a few J/Ts; a hundred times that is out of reach."""
    return 100.0 * machine.chain.total_inertia_kgm2 / machine.drive.control_tick_s


def _highest_rate(machine: Machine) -> float:
    """A rate of several per tick is out of reach of a loop that is late by at least one."""
    return 10.0 / machine.drive.control_tick_s


SETTING_LOOPS: Mapping[str, SettingLoop] = {
    "speed_gain": SettingLoop(_speed_gain_loop, _highest_speed_gain),
    "integral_rate": SettingLoop(_integral_rate_loop, _highest_rate),
    "position_gain": SettingLoop(_position_gain_loop, _highest_rate),
    LOAD_SETTING: SettingLoop(_position_gain_loop, _highest_rate),
}
"""By the name of the setting; one without an entry is tuned without exact figures."""


def machine_loop(
    machine: Machine,
    setting: str,
    held: Mapping[str, float] | None = None,
    chain: Chain | None = None,
) -> ClosedLoop:
    """Return the closed loop of a machine as a function of one setting.

    Args:
        machine: its own timing, and its start value of each setting that is not held.
        setting: one of :data:`SETTING_LOOPS`; the loop's gain has its unit. Where there is a gain
            of the load's position, the position loop is closed there alone.
        held: values of other settings that differ from the start values.
        chain: replaces the machine's own chain, for what-if calculations.
    """
    values = {**start_settings(machine), **(held or {})}
    by_load = setting == LOAD_SETTING or values[LOAD_SETTING] > 0.0
    axis = _Axis(
        chain=machine.chain if chain is None else chain,
        friction=machine.friction,
        timing=machine_timing(machine, values["integral_rate"]),
        speed_gain=values["speed_gain"],
        hold_gain=values[LOAD_SETTING if by_load else "position_gain"],
        source="load" if by_load else "motor",
    )
    return SETTING_LOOPS[setting].loop(axis)


def machine_timing(machine: Machine, integral_rate_per_s: float) -> LoopTiming:
    """Return a machine's timing with an integral part of its own."""
    sensor = machine.load_sensor
    return LoopTiming(
        **asdict(machine.drive.timing),
        integral_time_s=1.0 / integral_rate_per_s if integral_rate_per_s > 0.0 else 0.0,
        load_sensor_delay_ticks=machine.load_delay_ticks,
        load_mounting_hz=0.0 if sensor is None else sensor.mounting_hz,
        load_mounting_damping_ratio=0.0 if sensor is None else sensor.mounting_damping_ratio,
    )
