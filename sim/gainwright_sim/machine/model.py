"""The validated model of a machine: everything SI, everything referred to the motor shaft.

Objects are made by :mod:`gainwright_sim.machine.load` after validation, or drawn by
:mod:`gainwright_sim.theory.random_axis`. "Reflected" means seen from the motor: a load quantity
divided by the square of the gear ratio, or multiplied by the square of the metres that one radian
moves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, Literal

from gainwright.detector.timing import DriveRatings, DriveTiming, SpeedSource
from gainwright.stage_kind import DRIVE_SETTINGS

FrictionCompensation = Literal["measured", "none"]
"""Friction measured at constant speed in both directions and fed forward, or left to the gains."""

PositionSource = Literal["motor", "load"]
"""Where a position loop measures: motor encoder, or a sensor at the load."""

LARGEST_MASS_COUNT = 4


@dataclass(frozen=True, slots=True)
class Base:
    """What the motor pushes itself off from, on mounts that give way: a machine bed, a column.

    Encoder, load sensor and guides sit on it, so that all positions are measured against it.
    """

    inertia_kgm2: float
    """Reflected, as are the others."""
    stiffness_nm_per_rad: float
    """Of its mounts to the ground."""
    damping_nms_per_rad: float


@dataclass(frozen=True, slots=True)
class Chain:
    """One to four masses in a row, joined by springs with parallel dampers.

    The first mass is the motor, the last one the load; with a single mass they are the same.
    """

    inertias_kgm2: tuple[float, ...]
    """Reflected inertias, motor first."""
    stiffnesses_nm_per_rad: tuple[float, ...]
    """Reflected stiffness between mass i and mass i+1; one fewer than masses."""
    dampings_nms_per_rad: tuple[float, ...]
    """Reflected damping parallel to each spring."""
    base: Base | None = None
    """None: the motor stands on the ground. A base needs two masses or more, and is one of four."""

    @property
    def mass_count(self) -> int:
        """Masses in the row, without a base."""
        return len(self.inertias_kgm2)

    @property
    def body_count(self) -> int:
        """All that moves, a base included."""
        return self.mass_count + (self.base is not None)

    @property
    def motor_inertia_kgm2(self) -> float:
        return self.inertias_kgm2[0]

    @property
    def total_inertia_kgm2(self) -> float:
        return sum(self.inertias_kgm2)


@dataclass(frozen=True, slots=True)
class Friction:
    """Friction and constant load on the first (motor) and the last mass (load), all reflected."""

    motor_viscous_nms_per_rad: float = 0.0
    motor_coulomb_nm: float = 0.0
    load_viscous_nms_per_rad: float = 0.0
    load_coulomb_nm: float = 0.0
    motor_breakaway_nm: float = 0.0
    """Static friction, from rest; below Coulomb friction it has no effect."""
    load_breakaway_nm: float = 0.0
    stribeck_speed_rad_per_s: float = 1.0
    """Speed of the motor shaft at which friction has fallen to Fc + (Fs - Fc)/e."""
    constant_load_torque_nm: float = 0.0
    """Positive pushes the load towards larger angles; gravity usually is negative."""


@dataclass(frozen=True, slots=True)
class Drive:
    """Amplifier, motor ratings and encoder. Signals are per unit of rated torque and top speed."""

    control_tick_s: float
    torque_delay_ticks: int
    """Torque computed at tick k is applied from tick k + this on; at least 1."""
    current_loop_time_constant_s: float
    """First-order lag of the torque behind its command; 0 = none."""
    speed_filter_time_constant_s: float
    """First-order low-pass of the measured speed; 0 = none."""
    rotor_inertia_kgm2: float
    """Of the motor alone, as on its nameplate: all that a drive knows before it has moved."""
    rated_torque_nm: float
    torque_limit_nm: float
    top_speed_rad_per_s: float
    encoder_counts_per_turn: int
    torque_noise_per_unit: float
    """Standard deviation, per tick, of white noise on the applied torque, of rated torque."""
    speed_source: SpeedSource = "difference"

    @property
    def timing(self) -> DriveTiming:
        return DriveTiming(**_shared_fields(self, DriveTiming))

    @property
    def ratings(self) -> DriveRatings:
        return DriveRatings(**_shared_fields(self, DriveRatings))


def _shared_fields(drive: Drive, part: type) -> dict[str, Any]:
    return {field.name: getattr(drive, field.name) for field in fields(part)}


@dataclass(frozen=True, slots=True)
class SpeedLoop:
    """The safe gains that the axis starts from."""

    start_speed_gain_nms_per_rad: float
    integral_time_s: float
    """Tn of u = Kp (e + I), I += e Ts/Tn; 0 = no integral part (P only)."""
    hold_gain_per_s: float
    """Weak position hold: this times (reference - position) is added to the speed reference."""
    friction_compensation: FrictionCompensation = "measured"


@dataclass(frozen=True, slots=True)
class LoadSensor:
    """A position sensor at the load, in radians of the motor shaft."""

    resolution_rad: float
    delay_s: float
    """From the load's position to its value in the drive; in whole control ticks, see
    :attr:`Machine.load_delay_ticks`."""
    mounting_hz: float = 0.0
    """Natural frequency of the head on its bracket; 0: rigidly fixed to the load."""
    mounting_damping_ratio: float = 0.0


@dataclass(frozen=True, slots=True)
class Motion:
    """Back-and-forth moves of the trial, on the motor shaft."""

    travel_window_rad: float
    """Full width; the window is centred on the position at the start of the trial."""
    cruise_speed_rad_per_s: float
    acceleration_rad_per_s2: float
    jerk_rad_per_s3: float


@dataclass(frozen=True, slots=True)
class Brake:
    """Holding brake on the motor shaft; times from the command until fully opened or closed."""

    open_time_s: float
    close_time_s: float
    holding_torque_nm: float


@dataclass(frozen=True, slots=True)
class Harmonic:
    """A sine over the motor angle; ``order`` is its periods per motor turn."""

    order: float
    amplitude: float


@dataclass(frozen=True, slots=True)
class Disturbances:
    """What a real axis and drive add on their own; by default nothing.

    Amplitudes (peak, not peak to peak) are per unit of rated torque unless said otherwise.
    """

    torque_ripple: tuple[Harmonic, ...] = ()
    """Per unit of the torque itself: from the motor's EMF (order 6 per electrical period)."""
    cogging: tuple[Harmonic, ...] = ()
    """With or without current: slots and poles (order: their least common multiple)."""
    load_passing: tuple[Harmonic, ...] = ()
    """On the load: balls, gear teeth, belt teeth."""
    encoder_lines_per_turn: int = 0
    """Periods of the encoder's signals per turn; 0 = these have no errors."""
    interpolation_first_order: float = 0.0
    """Error of the position, once per line, share of a line."""
    interpolation_second_order: float = 0.0
    current_noise_per_unit: float = 0.0
    """Standard deviation, per tick, of the measured current, of rated."""
    current_offset_per_unit: float = 0.0
    """Of one of the two phase sensors."""
    current_gain_error: float = 0.0
    """Of one of the two phase sensors, relative."""
    motor_pole_pairs: int = 0
    """Electrical periods per turn: what offset and gain error need."""
    external_frequency_hz: float = 0.0
    external_torque_per_unit: float = 0.0
    """On the load, e.g. from a pump nearby."""


@dataclass(frozen=True, slots=True)
class Play:
    """How the spring of a two-mass axis fails to hold, all reflected to the motor shaft."""

    gap_rad: float = 0.0
    """Play in all, of a gear."""
    gap_stiffness_nm_per_rad: float = 0.0
    """Of the spring behind it."""
    pretension_nm: float = 0.0
    """Of each span of a belt; 0 = never slack."""
    first_nm_per_rad: float = 0.0
    """Stiffness of the span that the motor pulls when it is ahead, and of the other."""
    second_nm_per_rad: float = 0.0


@dataclass(frozen=True, slots=True)
class Situation:
    """The same axis elsewhere, or with another payload."""

    name: str
    chain: Chain
    position_m: float | None = None
    """From where the description's lengths hold; None where no position is given."""


@dataclass(frozen=True, slots=True)
class Machine:
    """One axis, drive included."""

    name: str
    description: str
    origin: str
    """Where the numbers come from: invented, published (with the source), measured, ..."""
    chain: Chain
    friction: Friction
    drive: Drive
    speed_loop: SpeedLoop
    motion: Motion
    brake: Brake | None
    motor_rad_per_load_m: float | None
    """Motor angle per metre of load travel; ``None`` for a load that turns."""
    disturbances: Disturbances = Disturbances()
    load_sensor: LoadSensor | None = None
    play: Play | None = None
    situations: tuple[Situation, ...] = ()
    """Other positions and payloads that the settings found must suit too."""

    @property
    def load_delay_ticks(self) -> int:
        """Whole control ticks by which the load sensor is late; 0 without one."""
        delay_s = 0.0 if self.load_sensor is None else self.load_sensor.delay_s
        return round(delay_s / self.drive.control_tick_s)


def start_settings(machine: Machine) -> dict[str, float]:
    """Return the safe start value of each drive setting, in the unit of its stage kind.

    What no machine begins with is 0.
    """
    loop = machine.speed_loop
    return dict.fromkeys(DRIVE_SETTINGS, 0.0) | {
        "speed_gain": loop.start_speed_gain_nms_per_rad,
        "integral_rate": 1.0 / loop.integral_time_s if loop.integral_time_s > 0.0 else 0.0,
        "position_gain": loop.hold_gain_per_s,
    }


def with_settings(machine: Machine, settings: Mapping[str, float]) -> Machine:
    """Return the machine with other start values of speed gain, integral rate, position gain.

    The gain of a position loop over the load is none of them: a trial closes that loop itself.
    """
    loop, rate = machine.speed_loop, settings.get("integral_rate")
    return replace(
        machine,
        speed_loop=replace(
            loop,
            start_speed_gain_nms_per_rad=settings.get(
                "speed_gain", loop.start_speed_gain_nms_per_rad
            ),
            integral_time_s=loop.integral_time_s if rate is None else 1.0 / rate,
            hold_gain_per_s=settings.get("position_gain", loop.hold_gain_per_s),
        ),
    )
