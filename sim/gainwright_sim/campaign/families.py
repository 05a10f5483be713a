"""The families of random axes that a campaign draws from: names, ranges, nothing else.

A family is today's own family of axes with some ranges replaced; :mod:`.sampling` does the drawing.
The same seed gives the same axis in every family but for what that family replaces, so that two
families can be compared axis by axis. All numbers are invented; the ranges are common practice, no
source, where no source is named.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

Span = tuple[float, float]
"""Lowest and highest value."""


@dataclass(frozen=True, slots=True)
class DisturbanceRanges:
    """Log-uniform amplitudes (peak) of what a real axis and drive add on their own.

    Torques are of rated torque, but for the ripple, which is of the torque itself. Orders follow
    from pole pairs and slots.
    """

    pole_pairs: tuple[int, ...] = (3, 4, 5, 8)
    slots: tuple[int, ...] = (9, 12, 18, 24, 36)
    torque_ripple: Span = (0.002, 0.05)
    cogging: Span = (0.001, 0.02)
    load_passing: Span = (0.0005, 0.01)
    load_passing_order: Span = (3.0, 60.0)
    encoder_lines: tuple[int, ...] = (512, 1024, 2048)
    interpolation_first_order: Span = (0.0005, 0.01)
    """Share of a line."""
    interpolation_second_order: Span = (0.0005, 0.005)
    current_noise: Span = (1e-3, 1e-2)
    current_offset: Span = (5e-4, 0.01)
    current_gain_error: Span = (1e-3, 0.02)
    external_torque: Span = (5e-4, 0.02)
    external_frequency_hz: Span = (8.0, 400.0)


@dataclass(frozen=True, slots=True)
class LoadSensorRanges:
    """A sensor at the load of an axis whose speed loop has been tuned; log-uniform each."""

    counts_per_swing: Span = (30.0, 1000.0)
    """Of the sensor, in the way at cruise speed in 10 ms: what the load swings by."""
    delay_ticks: tuple[int, ...] = (0, 1, 4, 8, 16)
    """One of these, equally likely."""
    speed_gain_share: Span = (0.25, 0.40)
    """Of its exact limit."""
    integral_rate_share: Span = (0.05, 0.12)
    """Likewise."""
    ramp_periods: Span = (0.5, 1.5)
    """Ramps of the moves, in periods of the load on a motor that stands: who lets a load swing on a
    spring does not throw it."""


@dataclass(frozen=True, slots=True)
class Family:
    """Ranges that replace those of the own family; ``None`` leaves what the own family draws."""

    name: str
    description: str
    control_tick_s: tuple[float, ...] | None = None
    """One of these, equally likely."""
    torque_delay_ticks: tuple[int, ...] | None = None
    """One of these, equally likely."""
    speed_filter_s: Span | None = None
    """Time constant, log-uniform, on one axis of two; the others have no filter."""
    encoder_counts: tuple[int, ...] | None = None
    """Counts per motor turn: one of these, equally likely."""
    resonance_hz: Span | None = None
    """First resonance, log-uniform; replaces the whole chain, and no axis is rigid then."""
    damping_ratio: Span | None = None
    """Of the first resonance, log-uniform; goes with ``resonance_hz``."""
    load_ratio: Span | None = None
    """Load inertia / motor inertia, log-uniform; goes with ``resonance_hz``."""
    coulomb_share: Span | None = None
    """Coulomb friction of motor and load together, of rated torque, uniform."""
    viscous_share: Span | None = None
    """Viscous friction of motor and load together at top speed, of rated torque, uniform."""
    breakaway_factor: Span | None = None
    """Breakaway torque / Coulomb friction, uniform."""
    stribeck_share: Span | None = None
    """Stribeck speed / cruise speed, log-uniform: nobody tunes an axis where it stick-slips."""
    integral_time_s: Span | None = None
    """Tn of the start settings, log-uniform; longer where the start gain would not damp it."""
    cruise_speed_rad_per_s: Span | None = None
    """Log-uniform."""
    cruise_time_s: Span | None = None
    """At constant speed on the way from one turning point to the other, log-uniform."""
    limit_over_start: Span | None = None
    """Exact limit / start gain, log-uniform."""
    constant_load_share: Span | None = None
    """Weight on the motor shaft, of rated torque, uniform; comes with a holding brake."""
    disturbances: DisturbanceRanges | None = None
    load_sensor: LoadSensorRanges | None = None


OWN = Family("own", "8 kHz, 20-bit encoder, anti-resonance 3 to 600 Hz, Coulomb friction to 3 %")
TIMING = Family(
    "timing",
    "control tick 62.5 to 250 us, delay 1 to 3 ticks, speed filter to 1 ms",
    control_tick_s=(62.5e-6, 125e-6, 250e-6),
    torque_delay_ticks=(1, 2, 3),
    speed_filter_s=(5e-5, 1e-3),
)
RATES = Family(
    "rates",
    "drives of 1, 2, 4, 8 and 16 kHz",
    control_tick_s=(1e-3, 5e-4, 2.5e-4, 1.25e-4, 6.25e-5),
)
ENCODER = Family(
    "encoder",
    "4096 to 16 777 216 counts per turn",
    encoder_counts=tuple(2**bits for bits in range(12, 25)),
)
RESONANCE = Family(
    "resonance",
    "first resonance 2 Hz to 1.5 kHz, damping ratio 0.003 to 0.1, load ratio 0.1 to 20",
    resonance_hz=(2.0, 1500.0),
    damping_ratio=(0.003, 0.1),
    load_ratio=(0.1, 20.0),
)
FRICTION = Family(
    "friction",
    "Coulomb friction to 20 % of rated torque, breakaway to 1.8 times that, viscous to 10 %",
    coulomb_share=(0.0, 0.20),
    viscous_share=(0.0, 0.10),
    breakaway_factor=(1.0, 1.8),
    stribeck_share=(0.01, 0.2),
    integral_time_s=(0.05, 0.2),
)
MOTION = Family(
    "motion",
    "0.25 to 2 s at constant speed, 0.3 to 12 rad/s, start gain 1/60 to 1/3 of the limit",
    cruise_speed_rad_per_s=(0.3, 12.0),
    cruise_time_s=(0.25, 2.0),
    limit_over_start=(3.0, 60.0),
)
VERTICAL = Family(
    "vertical",
    "weight of 5 to 40 % of rated torque, holding brake",
    constant_load_share=(0.05, 0.40),
    integral_time_s=(0.02, 0.2),
    limit_over_start=(3.0, 20.0),
)
DISTURBED = Family(
    "disturbed",
    "torque ripple, cogging, load passing, interpolation and current-sensor errors, a pump",
    disturbances=DisturbanceRanges(),
)


def merged(name: str, description: str, *families: Family) -> Family:
    """Return a family with all replacements of several; the later one decides where two meet."""
    ranges = {}
    for family in families:
        for field in fields(Family)[2:]:
            value = getattr(family, field.name)
            if value != field.default:
                ranges[field.name] = value
    return Family(name, description, **ranges)


MIXED = merged(
    "mixed",
    "everything above at once; half of the axes vertical",
    TIMING, ENCODER, RESONANCE, FRICTION, VERTICAL, MOTION, DISTURBED,
)  # fmt: skip
SWINGING = Family(
    "swinging",
    "load at 3 to 12 Hz with a sensor, speed loop tuned, 4 to 10 s at constant speed",
    resonance_hz=(3.0, 12.0),
    damping_ratio=(0.005, 0.05),
    load_ratio=(0.5, 10.0),
    cruise_speed_rad_per_s=(5.0, 12.0),
    cruise_time_s=(4.0, 10.0),
    disturbances=DisturbanceRanges(),
    load_sensor=LoadSensorRanges(),
)
FAMILIES = {
    family.name: family
    for family in (
        OWN, TIMING, RATES, ENCODER, RESONANCE, FRICTION, MOTION, VERTICAL, DISTURBED,
        MIXED,
    )
}  # fmt: skip
"""What ``--family all`` means: any trial of the speed gain fits them."""
EVERY_FAMILY = {**FAMILIES, SWINGING.name: SWINGING}
"""And those that only some trials fit."""
