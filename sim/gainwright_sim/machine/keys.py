"""What a machine description may say: every table and key, with unit, range and meaning.

This is the one place for it: the checker, the JSON Schema and the messages are made from it.
Ranges are far wider than real machines; they are there to catch slips of the unit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from typing import get_args

from gainwright.detector.timing import SpeedSource
from gainwright_sim.machine.model import FrictionCompensation

REQUIRED = object()
"""Default of a key that must be given."""

LONGEST_LIST = 4
"""Most numbers in one list: masses of a chain, sines of one disturbance."""

MECHANICS_KINDS = ("chain", "gear", "wheel", "belt", "screw")
LINEAR_KINDS = frozenset({"wheel", "belt", "screw"})
"""Kinds whose load moves along a line, so that metres and newtons mean something."""


class Type(Enum):
    """Type of the value of a key, with the words used in messages."""

    TEXT = "text in quotes"
    CHOICE = "one of the listed words"
    INTEGER = "a whole number"
    NUMBER = "a number"
    NUMBERS = "a list of numbers"


@dataclass(frozen=True, slots=True)
class Key:
    """One key of one table. ``low`` and ``high`` are inclusive and hold for every list element."""

    name: str
    type: Type
    meaning: str
    low: float = 0.0
    high: float = 0.0
    default: object = REQUIRED
    kinds: frozenset[str] = frozenset(MECHANICS_KINDS)
    """Kinds of mechanics for which the key may be given."""
    quantity: str = ""
    """Keys of the same quantity are alternatives: at most one, or exactly one if required."""
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Table:
    name: str
    meaning: str
    keys: tuple[Key, ...]
    required: bool = True
    by_name: dict[str, Key] = field(init=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_name", {key.name: key for key in self.keys})


_CHAIN = frozenset({"chain"})
_GEAR = frozenset({"gear"})
_WHEEL = frozenset({"wheel"})
_BELT = frozenset({"belt"})
_SCREW = frozenset({"screw"})
_GEARED = frozenset(MECHANICS_KINDS) - _CHAIN
_N = Type.NUMBER

TOP = Table(
    "",
    "the description itself",
    (
        Key("format", Type.INTEGER, "version of this file format: 1", 1, 1),
        Key("name", Type.TEXT, "short name: small letters, digits and hyphens"),
        Key("description", Type.TEXT, "what the axis does, one sentence", default=""),
        Key("origin", Type.TEXT, "where the numbers come from: invented, published, measured"),
    ),
)

MECHANICS = Table(
    "mechanics",
    "masses and springs; explicit on the motor shaft (chain), or everyday parts reduced to it",
    (
        Key("kind", Type.CHOICE, "what stands between motor and load", choices=MECHANICS_KINDS),
        Key("inertias_kgm2", Type.NUMBERS, "one to four reflected inertias, motor first",
            1e-9, 1e5, kinds=_CHAIN),
        Key("stiffnesses_nm_per_rad", Type.NUMBERS, "reflected stiffness between neighbours",
            1e-9, 1e12, default=(), kinds=_CHAIN),
        Key("dampings_nms_per_rad", Type.NUMBERS, "reflected damping parallel to each spring",
            0, 1e9, default=(), kinds=_CHAIN),
        Key("motor_inertia_kgm2", _N, "rotor and all that is rigidly fixed to the motor shaft",
            1e-9, 1e4, kinds=_GEARED),
        Key("gear_ratio", _N, "motor turns per turn of the output shaft", 1e-3, 1e5, 1.0,
            kinds=_GEARED),
        Key("load_inertia_kgm2", _N, "inertia on the output shaft", 1e-9, 1e9, kinds=_GEAR),
        Key("shaft_stiffness_nm_per_rad", _N, "stiffness at the output shaft; left out = rigid",
            1e-6, 1e12, None, _GEAR),
        Key("wheel_radius_m", _N, "pinion on a rack, chain wheel or rope drum", 1e-4, 10,
            kinds=_WHEEL),
        Key("wheel_inertia_kgm2", _N, "inertia of the wheel on its own shaft", 0, 1e5, 0.0, _WHEEL),
        Key("drive_stiffness_n_per_m", _N, "stiffness between wheel and load; left out = rigid",
            1, 1e12, None, _WHEEL),
        Key("pulley_radius_m", _N, "pitch radius of the driving pulley", 1e-4, 10, kinds=_BELT),
        Key("pulley_inertia_kgm2", _N, "all pulleys together, on the pulley shaft", 0, 1e5, 0.0,
            _BELT),
        Key("belt_tensile_stiffness_n", _N, "EA: force per unit of strain", 1, 1e10, kinds=_BELT),
        Key("belt_first_length_m", _N, "span from the driving pulley to the carriage", 1e-3, 1e4,
            kinds=_BELT),
        Key("belt_second_length_m", _N, "the other way round, over the idler, to the carriage",
            1e-3, 1e4, kinds=_BELT),
        Key("belt_pretension_n", _N, "of each span at rest; a span without tension is slack; left "
            "out = never slack", 1e-3, 1e8, None, _BELT),
        Key("positions_m", Type.NUMBERS, "other positions of the carriage, added to the first "
            "length and taken from the second: where the settings must hold too", -1e4, 1e4,
            default=(), kinds=_BELT),
        Key("backlash_rad", _N, "play in all, at the output shaft", 0, 1, 0.0, _GEAR | _WHEEL),
        Key("screw_pitch_m", _N, "travel per turn of the screw", 1e-5, 1, kinds=_SCREW),
        Key("screw_inertia_kgm2", _N, "inertia of the screw on its own shaft", 0, 1e4, 0.0, _SCREW),
        Key("axial_stiffness_n_per_m", _N, "screw, nut and bearings; left out = rigid",
            1, 1e12, None, _SCREW),
        Key("load_mass_kg", _N, "everything that moves along the line", 1e-6, 1e7,
            kinds=LINEAR_KINDS),
        Key("load_mass_range_kg", Type.NUMBERS, "smallest and largest load_mass_kg: with which the "
            "settings must hold too", 1e-6, 1e7, default=(), kinds=LINEAR_KINDS),
        Key("resonance_damping_ratio", _N, "damping ratio of the resonance, if it is not rigid",
            1e-6, 1, None, _GEARED),
    ),
)  # fmt: skip

FRICTION = Table(
    "friction",
    "friction and constant load; reflected to the motor shaft, or at a load that moves in a line",
    (
        Key("motor_viscous_nms_per_rad", _N, "viscous friction of the motor", 0, 1e6, 0.0),
        Key("motor_coulomb_nm", _N, "Coulomb friction of the motor", 0, 1e6, 0.0),
        Key("reflected_load_viscous_nms_per_rad", _N, "viscous friction of the load",
            0, 1e6, 0.0, quantity="load viscous friction"),
        Key("load_viscous_ns_per_m", _N, "viscous friction at the load", 0, 1e9, 0.0,
            LINEAR_KINDS, "load viscous friction"),
        Key("reflected_load_coulomb_nm", _N, "Coulomb friction of the load", 0, 1e6, 0.0,
            quantity="load Coulomb friction"),
        Key("load_coulomb_n", _N, "Coulomb friction at the load", 0, 1e8, 0.0, LINEAR_KINDS,
            "load Coulomb friction"),
        Key("motor_breakaway_nm", _N, "static friction of the motor, from rest; left out = as much "
            "as Coulomb friction", 0, 1e6, 0.0),
        Key("reflected_load_breakaway_nm", _N, "static friction of the load; left out = as much as "
            "Coulomb friction", 0, 1e6, 0.0, quantity="load breakaway friction"),
        Key("load_breakaway_n", _N, "static friction at the load; left out = as much as Coulomb "
            "friction", 0, 1e8, 0.0, LINEAR_KINDS, "load breakaway friction"),
        Key("stribeck_speed_rad_per_s", _N, "speed at which friction has fallen from breakaway to "
            "Coulomb plus 1/e of the difference", 1e-6, 1e4, None, quantity="Stribeck speed"),
        Key("stribeck_speed_m_per_s", _N, "the same, of the load", 1e-9, 100, None, LINEAR_KINDS,
            "Stribeck speed"),
        Key("reflected_constant_load_torque_nm", _N, "constant torque on the load, e.g. gravity",
            -1e6, 1e6, 0.0, quantity="constant load"),
        Key("constant_load_force_n", _N, "constant force on the load; gravity is negative if up "
            "is positive", -1e8, 1e8, 0.0, LINEAR_KINDS, "constant load"),
    ),
    required=False,
)  # fmt: skip

DRIVE = Table(
    "drive",
    "amplifier timing, ratings and encoder",
    (
        Key("control_tick_s", _N, "period of the speed controller", 50e-6, 2e-3),
        Key("torque_delay_ticks", Type.INTEGER, "whole ticks from measuring to torque", 1, 8, 1),
        Key("current_loop_time_constant_s", _N, "first-order lag of the torque; 0 = none",
            0, 0.02, 0.0),
        Key("speed_filter_time_constant_s", _N, "low-pass of the measured speed; 0 = none",
            0, 0.1, 0.0),
        Key("speed_source", Type.CHOICE, "difference = of the encoder's position over one tick, "
            "sensor = speed sensor on the motor shaft", default="difference",
            choices=get_args(SpeedSource)),
        Key("rotor_inertia_kgm2", _N, "of the motor alone, as on its nameplate; left out = "
            "mechanics.motor_inertia_kgm2 or the first mass", 1e-9, 1e4, None),
        Key("rated_torque_nm", _N, "continuous torque, the base of all per-unit torques",
            1e-4, 1e6),
        Key("torque_limit_nm", _N, "limit of the torque command", 1e-4, 1e7),
        Key("top_speed_rad_per_s", _N, "top speed of the motor, the base of per-unit speeds",
            0.1, 1e5),
        Key("encoder_counts_per_turn", Type.INTEGER, "counts per motor turn, e.g. 1048576 for 20 "
            "bits", 64, 2**32),
        Key("torque_noise_per_unit", _N, "standard deviation per tick of the torque, of rated",
            0, 0.1, 0.0),
    ),
)  # fmt: skip

SPEED_LOOP = Table(
    "speed_loop",
    "the safe gains that the axis starts from",
    (
        Key("start_speed_gain_nms_per_rad", _N, "far below any gain at which the axis oscillates",
            1e-9, 1e7),
        Key("integral_time_s", _N, "Tn; 0 = no integral part", 0, 1e3, 0.0),
        Key("hold_gain_per_s", _N, "weak position hold on the speed reference", 0, 1e3, 0.0),
        Key("friction_compensation", Type.CHOICE, "measured = torque at constant speed in both "
            "directions, half the difference fed forward", default="measured",
            choices=get_args(FrictionCompensation)),
    ),
)  # fmt: skip

MOTION = Table(
    "motion",
    "the moves of the trial; on the motor shaft, or at a load that moves along a line",
    (
        Key("travel_window_rad", _N, "full width that the trial may use", 1e-2, 1e7,
            quantity="travel window"),
        Key("travel_window_m", _N, "full width that the trial may use", 1e-5, 1e5,
            kinds=LINEAR_KINDS, quantity="travel window"),
        Key("cruise_speed_rad_per_s", _N, "constant part of a move", 1e-3, 1e5,
            quantity="cruise speed"),
        Key("cruise_speed_m_per_s", _N, "constant part of a move", 1e-6, 1e3,
            kinds=LINEAR_KINDS, quantity="cruise speed"),
        Key("acceleration_rad_per_s2", _N, "largest acceleration", 1e-3, 1e7,
            quantity="acceleration"),
        Key("acceleration_m_per_s2", _N, "largest acceleration", 1e-6, 1e4,
            kinds=LINEAR_KINDS, quantity="acceleration"),
        Key("jerk_rad_per_s3", _N, "largest change of acceleration", 1e-3, 1e10, quantity="jerk"),
        Key("jerk_m_per_s3", _N, "largest change of acceleration", 1e-6, 1e7,
            kinds=LINEAR_KINDS, quantity="jerk"),
    ),
)  # fmt: skip

BRAKE = Table(
    "brake",
    "holding brake; leave the table out where there is none",
    (
        Key("open_time_s", _N, "from the command until it has let go", 0, 10),
        Key("close_time_s", _N, "from the command until it holds", 0, 10),
        Key("holding_torque_nm", _N, "on the motor shaft", 1e-4, 1e7),
    ),
    required=False,
)

BASE = Table(
    "base",
    "what the motor pushes itself off from, if its mounts give way; leave the table out for a "
    "machine that stands on the ground",
    (
        Key("inertia_kgm2", _N, "reflected to the motor shaft", 1e-9, 1e6, quantity="inertia"),
        Key("mass_kg", _N, "mass of bed or column, for a load that moves along a line", 1e-3, 1e6,
            kinds=LINEAR_KINDS, quantity="inertia"),
        Key("natural_frequency_hz", _N, "of the base alone on its mounts", 0.05, 1000,
            quantity="stiffness"),
        Key("stiffness_nm_per_rad", _N, "of the mounts, reflected to the motor shaft", 1e-6, 1e12,
            quantity="stiffness"),
        Key("damping_ratio", _N, "of the base alone on its mounts", 0, 1, quantity="damping"),
        Key("damping_nms_per_rad", _N, "of the mounts, reflected to the motor shaft", 0, 1e9,
            quantity="damping"),
    ),
    required=False,
)  # fmt: skip

LONGEST_LOAD_DELAY_S = 0.01
LOAD_SENSOR = Table(
    "load_sensor",
    "a second position sensor, at the load; leave the table out where there is none",
    (
        Key("resolution_rad", _N, "one count, in radians of the motor shaft", 1e-9, 10,
            quantity="resolution"),
        Key("resolution_m", _N, "one count, at the load", 1e-10, 0.1, kinds=LINEAR_KINDS,
            quantity="resolution"),
        Key("delay_s", _N, "from the load's position to its value in the drive; rounded to whole "
            "control ticks", 0, LONGEST_LOAD_DELAY_S, 0.0),
        Key("mounting_hz", _N, "natural frequency of its head on a bracket that gives way; 0 = "
            "rigidly fixed to the load", 0, 1e4, 0.0),
        Key("mounting_damping_ratio", _N, "of the head on its bracket", 0, 1, 0.0),
    ),
    required=False,
)  # fmt: skip

_ORDERS = (0.01, 1e4)
DISTURBANCES = Table(
    "disturbances",
    "what a real axis and drive add on their own; amplitudes are peak values of sines, orders are "
    "periods per motor turn",
    (
        Key("torque_ripple_orders", Type.NUMBERS, "of the motor's torque: 6 per pole pair and "
            "multiples", *_ORDERS, default=()),
        Key("torque_ripple_per_unit", Type.NUMBERS, "amplitude for each order, per unit of the "
            "torque itself", 0, 0.5, default=()),
        Key("cogging_orders", Type.NUMBERS, "least common multiple of slots and poles, and "
            "multiples; a real motor also shows slots and poles themselves", *_ORDERS, default=()),
        Key("cogging_per_unit", Type.NUMBERS, "amplitude for each order, of rated torque", 0, 0.5,
            default=()),
        Key("load_passing_orders", Type.NUMBERS, "balls, gear or belt teeth that pass per motor "
            "turn", *_ORDERS, default=()),
        Key("load_passing_per_unit", Type.NUMBERS, "amplitude for each order, reflected, of rated "
            "torque", 0, 0.5, default=()),
        Key("encoder_lines_per_turn", Type.INTEGER, "periods of the encoder's signals; left out = "
            "these have no errors", 16, 2**20, 0),
        Key("interpolation_first_order", _N, "position error once per line, share of a line",
            0, 0.2, 0.0),
        Key("interpolation_second_order", _N, "position error twice per line, share of a line",
            0, 0.2, 0.0),
        Key("current_noise_per_unit", _N, "standard deviation per tick of the measured current, of "
            "rated", 0, 0.1, 0.0),
        Key("current_offset_per_unit", _N, "offset of one of two current sensors, of rated",
            0, 0.2, 0.0),
        Key("current_gain_error", _N, "relative gain error of one of two current sensors", 0, 0.2,
            0.0),
        Key("motor_pole_pairs", Type.INTEGER, "electrical periods per motor turn", 1, 200, 0),
        Key("external_frequency_hz", _N, "of a disturbance from outside, on the load", 0, 5e3, 0.0),
        Key("external_torque_per_unit", _N, "its amplitude, reflected, of rated torque", 0, 0.5,
            0.0),
    ),
    required=False,
)  # fmt: skip

TABLES = (
    MECHANICS, BASE, FRICTION, DRIVE, SPEED_LOOP, MOTION, BRAKE, LOAD_SENSOR, DISTURBANCES
)  # fmt: skip
