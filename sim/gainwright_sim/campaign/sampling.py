"""Draws the random axis of a family and a seed."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import numpy as np

from gainwright_sim.campaign.families import Family, Span
from gainwright_sim.machine.disturbances import COUNTS_PER_LINE
from gainwright_sim.machine.mechanics import two_mass_chain
from gainwright_sim.machine.model import (
    Brake,
    Chain,
    Disturbances,
    Friction,
    Harmonic,
    LoadSensor,
    Machine,
    Motion,
    SpeedLoop,
)
from gainwright_sim.plant.chain import anti_resonances_hz, resonances_hz
from gainwright_sim.plant.move import LONGEST_SMOOTHING_TICKS
from gainwright_sim.theory.limit import UnstableAtStartError
from gainwright_sim.theory.random_axis import sample_axis
from gainwright_sim.theory.stages import SPEED_GAIN, STAGE_THEORY

Random = np.random.Generator

LIMIT_OVER_START = (3.0, 100.0)
"""Where a family says nothing of its start gain, that of the own family moves into this band: a
start gain nearer to the limit leaves no margin, a lower one does not reach it with 128 rungs."""
SLOWEST_RESPONSE_S = 0.1
"""A start gain lets the axis follow its moves: inertia / gain is at most this, unless that would
come too near to the limit; moves are then at constant speed for long enough all the same."""
CRUISE_OVER_RESPONSE = 3.0
STICKING_OVER_PROPORTIONAL = 4.0
"""Slow moves are at least so fast that breakaway torque is this many times gain x cruise speed: the
integral part and the position hold bring the rest up within a move."""
SHARE_BETWEEN_TURNS = 24_000 / 32_768
"""Part of the travel window between the turning points of the shipped trial."""
SAG_SHARE = 0.15
"""A weight is no larger than lets the axis sag by this part of its window when the brake opens."""
BRAKE_OVER_LOAD = (1.5, 3.0)
BRAKE_TIME_S = (0.02, 0.15)
THREE_MASS_SHARE, FILTER_SHARE, MIXED_VERTICAL_SHARE = 0.25, 0.5, 0.5
LEAST_PI_DAMPING_RATIO = 0.5
HOLD_TIMES_INTEGRAL_TIME = 0.4
"""The position hold is no faster than this over the integral time: as in the own family."""
SLOWEST_SWING_SHARE = 0.5
HIGHEST_HOLD_PER_S = 20.0
"""Of an axis whose speed loop has been tuned."""
PUMP_SHARE = 0.5
"""Part of the disturbed axes that stand near a machine that shakes them at a fixed frequency."""


def sample(family: Family, seed: int) -> Machine:
    """Return the axis of a family and a seed.

    Each group of ranges has its own random numbers, so that a seed gives the same encoder, the same
    friction and so on in every family that draws them.
    """
    machine = sample_axis(seed)
    if family.name == "own":
        return machine
    for number, change in enumerate(_CHANGES):
        machine = change(machine, family, np.random.default_rng((0x66616D69, number, seed)))
    return dataclasses.replace(
        machine,
        name=f"{family.name}-axis-{seed}",
        description=f"A random axis of the family {family.name}.",
        origin=f"invented: drawn at random, family {family.name}, seed {seed}",
    )


def _log_uniform(random: Random, span: Span) -> float:
    return float(math.exp(random.uniform(math.log(span[0]), math.log(span[1]))))


def _drive(machine: Machine, **changes: float) -> Machine:
    return dataclasses.replace(machine, drive=dataclasses.replace(machine.drive, **changes))


def _timing(machine: Machine, family: Family, random: Random) -> Machine:
    tick, delay, filtered = random.uniform(size=3).tolist()
    if family.control_tick_s is not None:
        machine = _drive(machine, control_tick_s=_pick(family.control_tick_s, tick))
    if family.torque_delay_ticks is not None:
        machine = _drive(machine, torque_delay_ticks=_pick(family.torque_delay_ticks, delay))
    if family.speed_filter_s is not None and filtered < FILTER_SHARE:
        filter_s = _log_uniform(random, family.speed_filter_s)
        machine = _drive(machine, speed_filter_time_constant_s=filter_s)
    return machine


def _pick(choices: tuple[Any, ...], draw: float) -> Any:
    return choices[int(draw * len(choices))]


def _encoder(machine: Machine, family: Family, random: Random) -> Machine:
    if family.encoder_counts is None:
        return machine
    counts = _pick(family.encoder_counts, random.uniform())
    return _drive(machine, encoder_counts_per_turn=counts)


def _resonance(machine: Machine, family: Family, random: Random) -> Machine:
    if family.resonance_hz is None:
        return machine
    assert family.damping_ratio is not None
    assert family.load_ratio is not None
    motor_kgm2 = machine.drive.rotor_inertia_kgm2
    load_kgm2 = motor_kgm2 * _log_uniform(random, family.load_ratio)
    frequency_hz = _log_uniform(random, family.resonance_hz)
    damping_ratio = _log_uniform(random, family.damping_ratio)
    middle, spring_ratio = random.uniform(0.1, 0.9), _log_uniform(random, (0.3, 30.0))
    if random.uniform() >= THREE_MASS_SHARE:
        inverse = 1.0 / motor_kgm2 + 1.0 / load_kgm2
        stiffness = (2.0 * math.pi * frequency_hz) ** 2 / inverse
        chain = two_mass_chain(motor_kgm2, load_kgm2, stiffness, damping_ratio)
    else:
        inertias = (motor_kgm2, middle * load_kgm2, (1.0 - middle) * load_kgm2)
        chain = _tuned_chain(inertias, (spring_ratio, 1.0), frequency_hz, damping_ratio)
    return dataclasses.replace(machine, chain=chain)


def _tuned_chain(
    inertias: tuple[float, ...], pattern: tuple[float, ...], frequency_hz: float, ratio: float
) -> Chain:
    """Return the chain with springs in proportion to ``pattern`` and this first resonance."""
    none = (0.0,) * len(pattern)
    scale = (frequency_hz / resonances_hz(Chain(inertias, pattern, none))[0]) ** 2
    beta_s = ratio / (math.pi * frequency_hz)
    stiffnesses = tuple(scale * value for value in pattern)
    return Chain(inertias, stiffnesses, tuple(beta_s * value for value in stiffnesses))


def _friction(machine: Machine, family: Family, random: Random) -> Machine:
    coulomb, on_load, viscous, viscous_on_load = random.uniform(size=4).tolist()
    rated_nm, changes = machine.drive.rated_torque_nm, {}
    if family.coulomb_share is not None:
        coulomb_nm = rated_nm * _between(family.coulomb_share, coulomb)
        changes["motor_coulomb_nm"] = (1.0 - on_load) * coulomb_nm
        changes["load_coulomb_nm"] = on_load * coulomb_nm
    if family.breakaway_factor is not None:
        factor = random.uniform(*family.breakaway_factor)
        for side in ("motor", "load"):
            changes[f"{side}_breakaway_nm"] = factor * changes[f"{side}_coulomb_nm"]
    if family.viscous_share is not None:
        slope = rated_nm * _between(family.viscous_share, viscous)
        slope /= machine.drive.top_speed_rad_per_s
        changes["motor_viscous_nms_per_rad"] = (1.0 - viscous_on_load) * slope
        changes["load_viscous_nms_per_rad"] = viscous_on_load * slope
    friction = dataclasses.replace(machine.friction, **changes)
    return dataclasses.replace(machine, friction=friction)


def _between(span: Span, draw: float) -> float:
    return span[0] + (span[1] - span[0]) * draw


def _weight(machine: Machine, family: Family, random: Random) -> Machine:
    """A constant load downwards, and the brake that holds it."""
    here, share = random.uniform(size=2).tolist()
    if family.constant_load_share is None:
        return machine
    if family.name == "mixed" and here >= MIXED_VERTICAL_SHARE:
        return machine
    load_nm = machine.drive.rated_torque_nm * _between(family.constant_load_share, share)
    friction: Friction = dataclasses.replace(machine.friction, constant_load_torque_nm=-load_nm)
    brake = Brake(
        open_time_s=_log_uniform(random, BRAKE_TIME_S),
        close_time_s=_log_uniform(random, BRAKE_TIME_S),
        holding_torque_nm=load_nm * random.uniform(*BRAKE_OVER_LOAD),
    )
    return dataclasses.replace(machine, friction=friction, brake=brake)


def _start_gain(machine: Machine, family: Family, random: Random) -> Machine:
    limit, draw = _exact_limit(machine), random.uniform()
    if limit is None:
        return machine
    start = machine.speed_loop.start_speed_gain_nms_per_rad
    if family.limit_over_start is None:
        start = min(max(start, limit / LIMIT_OVER_START[1]), limit / LIMIT_OVER_START[0])
    else:
        low, high = family.limit_over_start
        start = limit / (low * (high / low) ** draw)
    following = machine.chain.total_inertia_kgm2 / SLOWEST_RESPONSE_S
    start = max(start, min(following, limit / LIMIT_OVER_START[0]))
    loop = dataclasses.replace(machine.speed_loop, start_speed_gain_nms_per_rad=start)
    return dataclasses.replace(machine, speed_loop=loop)


def _exact_limit(machine: Machine) -> float | None:
    """Return the limit without integral part and position hold, which are settled afterwards."""
    loop = dataclasses.replace(machine.speed_loop, integral_time_s=0.0, hold_gain_per_s=0.0)
    with suppress(UnstableAtStartError):
        limit = SPEED_GAIN.limit(dataclasses.replace(machine, speed_loop=loop)).gain
        return limit if math.isfinite(limit) else None
    return None


def _integral(machine: Machine, family: Family, random: Random) -> Machine:
    span = family.integral_time_s
    wanted_s = machine.speed_loop.integral_time_s if span is None else _log_uniform(random, span)
    return with_start_gain(machine, machine.speed_loop.start_speed_gain_nms_per_rad, wanted_s)


def with_start_gain(machine: Machine, gain_nms_per_rad: float, integral_time_s: float) -> Machine:
    """Return the machine with a start gain, and integral part and position hold that it damps.

    Args:
        machine: whose hold gain is the largest that is wanted.
        gain_nms_per_rad: the start gain.
        integral_time_s: the shortest that is wanted.
    """
    # Rigid body under PI control: damping ratio sqrt(Kp Tn / J) / 2.
    slowness_s = machine.chain.total_inertia_kgm2 / gain_nms_per_rad
    time_s = max(integral_time_s, (2.0 * LEAST_PI_DAMPING_RATIO) ** 2 * slowness_s)
    hold_per_s = min(machine.speed_loop.hold_gain_per_s, HOLD_TIMES_INTEGRAL_TIME / time_s)
    for anti_resonance_hz in anti_resonances_hz(machine.chain)[:1]:
        # Kp (1 + 1/(s Tn)) (1 + Kv/s) damps a swinging load only above sqrt(Kv / Tn).
        swing_rad_per_s = 2.0 * math.pi * anti_resonance_hz
        hold_per_s = min(hold_per_s, time_s * (SLOWEST_SWING_SHARE * swing_rad_per_s) ** 2)
    loop = SpeedLoop(gain_nms_per_rad, time_s, hold_per_s)
    return dataclasses.replace(machine, speed_loop=loop)


def _motion(machine: Machine, family: Family, random: Random) -> Machine:
    """Moves that the torque allows, and a window for them."""
    motion, (speed_draw, time_draw) = machine.motion, random.uniform(size=2).tolist()
    speed, window = motion.cruise_speed_rad_per_s, motion.travel_window_rad
    jerk_time_s = motion.acceleration_rad_per_s2 / motion.jerk_rad_per_s3
    if family.cruise_speed_rad_per_s is not None:
        low, high = family.cruise_speed_rad_per_s
        speed = min(max(low * (high / low) ** speed_draw, _moving_speed(machine)), high)
    acceleration = min(
        0.4 * machine.drive.rated_torque_nm / machine.chain.total_inertia_kgm2, 20.0 * speed
    )
    if family.cruise_time_s is not None:
        low, high = family.cruise_time_s
        start_gain = machine.speed_loop.start_speed_gain_nms_per_rad
        response_s = machine.chain.total_inertia_kgm2 / start_gain
        cruise_s = max(low * (high / low) ** time_draw, CRUISE_OVER_RESPONSE * response_s)
        moving = speed * (speed / acceleration + jerk_time_s + cruise_s)
        window = moving / SHARE_BETWEEN_TURNS
    motion = dataclasses.replace(
        motion,
        travel_window_rad=window,
        cruise_speed_rad_per_s=speed,
        acceleration_rad_per_s2=acceleration,
        jerk_rad_per_s3=acceleration / jerk_time_s,
    )
    return dataclasses.replace(machine, motion=motion)


def _moving_speed(machine: Machine) -> float:
    """Return the slowest speed that the start gain keeps up against the axis' friction."""
    friction = machine.friction
    breakaway_nm = max(friction.motor_breakaway_nm, friction.motor_coulomb_nm)
    breakaway_nm += max(friction.load_breakaway_nm, friction.load_coulomb_nm)
    gain = machine.speed_loop.start_speed_gain_nms_per_rad
    return breakaway_nm / (STICKING_OVER_PROPORTIONAL * gain)


def _stribeck(machine: Machine, family: Family, random: Random) -> Machine:
    if family.stribeck_share is None:
        return machine
    speed = machine.motion.cruise_speed_rad_per_s * _log_uniform(random, family.stribeck_share)
    friction = dataclasses.replace(machine.friction, stribeck_speed_rad_per_s=speed)
    return dataclasses.replace(machine, friction=friction)


def _bearable_weight(machine: Machine, _family: Family, _random: Random) -> Machine:
    """The integral of the speed after a step of torque T under PI control is T Tn / Kp."""
    loop, friction = machine.speed_loop, machine.friction
    if friction.constant_load_torque_nm == 0.0:
        return machine
    allowed_rad = SAG_SHARE * machine.motion.travel_window_rad
    most_nm = allowed_rad * loop.start_speed_gain_nms_per_rad / loop.integral_time_s
    load_nm = max(friction.constant_load_torque_nm, -most_nm)
    friction = dataclasses.replace(friction, constant_load_torque_nm=load_nm)
    return dataclasses.replace(machine, friction=friction)


def _disturbances(machine: Machine, family: Family, random: Random) -> Machine:
    """Orders: cogging at the least common multiple of slots and poles (Zhu and Howe 2000), torque
    ripple at 6 and 12 per electrical period (Jahns and Soong 1996), the second half as strong."""
    ranges = family.disturbances
    if ranges is None:
        return machine
    picks = random.uniform(size=4).tolist()
    pole_pairs, slots = _pick(ranges.pole_pairs, picks[0]), _pick(ranges.slots, picks[1])
    lines = min(
        _pick(ranges.encoder_lines, picks[2]),
        machine.drive.encoder_counts_per_turn // COUNTS_PER_LINE,
    )
    ripple, cogging, passing = (
        _log_uniform(random, span)
        for span in (ranges.torque_ripple, ranges.cogging, ranges.load_passing)
    )
    source = Disturbances(
        torque_ripple=_with_half(6.0 * pole_pairs, ripple),
        cogging=_with_half(float(math.lcm(slots, 2 * pole_pairs)), cogging),
        load_passing=(Harmonic(_log_uniform(random, ranges.load_passing_order), passing),),
        encoder_lines_per_turn=lines,
        interpolation_first_order=_log_uniform(random, ranges.interpolation_first_order),
        interpolation_second_order=_log_uniform(random, ranges.interpolation_second_order),
        current_noise_per_unit=_log_uniform(random, ranges.current_noise),
        current_offset_per_unit=_log_uniform(random, ranges.current_offset),
        current_gain_error=_log_uniform(random, ranges.current_gain_error),
        motor_pole_pairs=pole_pairs,
        external_frequency_hz=_log_uniform(random, ranges.external_frequency_hz),
        external_torque_per_unit=_log_uniform(random, ranges.external_torque),
    )
    if picks[3] >= PUMP_SHARE:
        source = dataclasses.replace(
            source, external_torque_per_unit=0.0, external_frequency_hz=0.0
        )
    return dataclasses.replace(machine, disturbances=source)


def _with_half(order: float, amplitude: float) -> tuple[Harmonic, ...]:
    return Harmonic(order, amplitude), Harmonic(2.0 * order, 0.5 * amplitude)


def _load_sensor(machine: Machine, family: Family, random: Random) -> Machine:
    """A sensor at the load, and a speed loop as a finished trial leaves it."""
    ranges = family.load_sensor
    if ranges is None:
        return machine
    counts, gain_share, rate_share = (
        _log_uniform(random, span)
        for span in (ranges.counts_per_swing, ranges.speed_gain_share, ranges.integral_rate_share)
    )
    delay = _pick(ranges.delay_ticks, random.uniform())
    sensor = LoadSensor(
        resolution_rad=0.01 * machine.motion.cruise_speed_rad_per_s / counts,
        delay_s=delay * machine.drive.control_tick_s,
    )
    gain = gain_share * (_exact_limit(machine) or machine.speed_loop.start_speed_gain_nms_per_rad)
    held = {"speed_gain": gain, "position_gain": 0.0}
    rate = rate_share * STAGE_THEORY["integral_rate"].limit(machine, held).gain
    swing_rad_per_s = 2.0 * math.pi * anti_resonances_hz(machine.chain)[0]
    hold = min(HIGHEST_HOLD_PER_S, (SLOWEST_SWING_SHARE * swing_rad_per_s) ** 2 / rate)
    loop = SpeedLoop(gain, 1.0 / rate, hold)
    motion = _gentle(machine, _log_uniform(random, ranges.ramp_periods))
    return dataclasses.replace(machine, speed_loop=loop, load_sensor=sensor, motion=motion)


def _gentle(machine: Machine, periods: float) -> Motion:
    """Return moves whose ramps, and the rounding of these, last so many periods of the load."""
    motion, ramp_s = machine.motion, periods / anti_resonances_hz(machine.chain)[0]
    speed = motion.cruise_speed_rad_per_s
    acceleration = min(motion.acceleration_rad_per_s2, speed / ramp_s)
    jerk_time_s = min(ramp_s, LONGEST_SMOOTHING_TICKS * machine.drive.control_tick_s)
    between_s = SHARE_BETWEEN_TURNS * motion.travel_window_rad / speed
    window = speed * (between_s + 2.0 * (speed / acceleration + jerk_time_s)) / SHARE_BETWEEN_TURNS
    return dataclasses.replace(
        motion,
        acceleration_rad_per_s2=acceleration,
        jerk_rad_per_s3=acceleration / jerk_time_s,
        travel_window_rad=window,
    )


_CHANGES: tuple[Callable[[Machine, Family, Random], Machine], ...] = (
    _timing, _encoder, _resonance, _friction, _weight, _start_gain, _integral, _motion,
    _bearable_weight, _stribeck, _disturbances, _load_sensor,
)  # fmt: skip
"""In this order: each may look at what the ones before have made."""
