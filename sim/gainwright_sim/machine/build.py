"""Make a :class:`Machine` of checked values, and check what only the whole machine can show."""

from __future__ import annotations

import math
import re
from typing import Any

from gainwright_sim.machine.base import build_base, check_base, on_base
from gainwright_sim.machine.check import Checker
from gainwright_sim.machine.disturbances import build_disturbances, check_torque_orders
from gainwright_sim.machine.model import (
    LARGEST_MASS_COUNT,
    Brake,
    Drive,
    Friction,
    LoadSensor,
    Machine,
    Motion,
    SpeedLoop,
)
from gainwright_sim.machine.reduce import Reduction, build_play, reduce_mechanics
from gainwright_sim.machine.situations import build_situations, check_belt_window

LARGEST_TORQUE_PER_UNIT = 8.0
"""Torques travel as Q4.24 per unit of rated torque; half of that range is left as headroom."""

_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


def check_mechanics(checker: Checker) -> None:
    """Report mechanics whose parts do not fit together."""
    values = checker.values.get("mechanics", {})
    if checker.kind == "chain":
        _check_chain(checker, values)
    stiffness = next(
        (name for name in values if "stiffness" in name and checker.kind != "chain"), None
    )
    elastic = stiffness is not None and values[stiffness] is not None
    if values.get("backlash_rad") and not elastic:
        checker.report(
            "mechanics.backlash_rad", f"{values['backlash_rad']:g} rad in a rigid axis",
            "a stiffness of what the play lies in", f"add {stiffness}, or leave backlash_rad out",
        )  # fmt: skip
    if elastic and values.get("resonance_damping_ratio", 0.0) is None:
        checker.report(
            "mechanics.resonance_damping_ratio", "nothing", "a number from 1e-06 to 1",
            f"add resonance_damping_ratio, since {stiffness} makes the axis elastic",
        )  # fmt: skip


def _check_chain(checker: Checker, values: dict[str, Any]) -> None:
    inertias = values.get("inertias_kgm2")
    if inertias is None:
        return
    if not 1 <= len(inertias) <= LARGEST_MASS_COUNT:
        checker.report(
            "mechanics.inertias_kgm2", f"{len(inertias)} masses",
            f"one to {LARGEST_MASS_COUNT} masses", "lump neighbours that are stiffly joined",
        )  # fmt: skip
        return
    springs = len(inertias) - 1
    for name in ("stiffnesses_nm_per_rad", "dampings_nms_per_rad"):
        given = values.get(name)
        may_be_empty = name == "dampings_nms_per_rad"
        if given is not None and len(given) != springs and not (may_be_empty and not given):
            checker.report(
                f"mechanics.{name}", f"{len(given)} values for {len(inertias)} masses",
                f"{springs} values, one between each pair of neighbours",
                f"give {springs} values, motor side first",
            )  # fmt: skip


def check_name(checker: Checker) -> None:
    name = checker.values.get("", {}).get("name")
    if name is not None and (not _NAME.fullmatch(name) or len(name) > 40):
        checker.report(
            "name", repr(name), "small letters, digits and hyphens, at most 40",
            f"for instance {_tidy(name)!r}",
        )  # fmt: skip


def _tidy(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40] or "my-axis"


def build_machine(checker: Checker) -> Machine:
    """Return the machine; ``checker`` must be free of problems."""
    values = checker.values
    mechanics = values["mechanics"]
    reduction = reduce_mechanics(mechanics)
    drive = dict(values["drive"])
    if drive["rotor_inertia_kgm2"] is None:
        drive["rotor_inertia_kgm2"] = mechanics.get(
            "motor_inertia_kgm2", reduction.chain.motor_inertia_kgm2
        )
    metres = reduction.load_m_per_rad
    machine = Machine(
        name=values[""]["name"],
        description=values[""]["description"],
        origin=values[""]["origin"],
        chain=reduction.chain,
        friction=_friction(values["friction"], reduction),
        drive=Drive(**drive),
        speed_loop=SpeedLoop(**values["speed_loop"]),
        motion=_motion(values["motion"], metres),
        brake=Brake(**values["brake"]) if "brake" in values else None,
        motor_rad_per_load_m=None if metres is None else 1.0 / metres,
        disturbances=build_disturbances(values["disturbances"]),
        load_sensor=_load_sensor(values["load_sensor"], metres)
        if "load_sensor" in values
        else None,
        play=build_play(mechanics, reduction),
        situations=build_situations(mechanics),
    )
    if "base" not in values:
        return machine
    return on_base(machine, build_base(values["base"], reduction))


def _friction(values: dict[str, Any], reduction: Reduction) -> Friction:
    metres = reduction.load_m_per_rad

    def load(reflected: str, linear: str, factor: float) -> float:
        if values.get(reflected):
            return values[reflected]
        return values.get(linear, 0.0) * factor

    force_arm = metres or 0.0
    stribeck = values.get("stribeck_speed_rad_per_s")
    if values.get("stribeck_speed_m_per_s") is not None:
        stribeck = values["stribeck_speed_m_per_s"] / force_arm
    return Friction(
        motor_breakaway_nm=values["motor_breakaway_nm"],
        load_breakaway_nm=load("reflected_load_breakaway_nm", "load_breakaway_n", force_arm),
        stribeck_speed_rad_per_s=1.0 if stribeck is None else stribeck,
        motor_viscous_nms_per_rad=values["motor_viscous_nms_per_rad"],
        motor_coulomb_nm=values["motor_coulomb_nm"],
        load_viscous_nms_per_rad=load(
            "reflected_load_viscous_nms_per_rad", "load_viscous_ns_per_m", force_arm * force_arm
        ),
        load_coulomb_nm=load("reflected_load_coulomb_nm", "load_coulomb_n", force_arm),
        constant_load_torque_nm=load(
            "reflected_constant_load_torque_nm", "constant_load_force_n", force_arm
        ),
    )


def _load_sensor(values: dict[str, Any], load_m_per_rad: float | None) -> LoadSensor:
    resolution = values.get("resolution_rad")
    if resolution is None:
        assert load_m_per_rad is not None  # keys in metres are refused for loads that turn
        resolution = values["resolution_m"] / load_m_per_rad
    return LoadSensor(
        resolution, values["delay_s"], values["mounting_hz"], values["mounting_damping_ratio"]
    )


def _motion(values: dict[str, Any], load_m_per_rad: float | None) -> Motion:
    def on_motor(stem: str, per: str) -> float:
        rotary = values.get(f"{stem}_rad{per}")
        if rotary is not None:
            return rotary
        assert load_m_per_rad is not None  # keys in metres are refused for loads that turn
        return values[f"{stem}_m{per}"] / load_m_per_rad

    return Motion(
        travel_window_rad=on_motor("travel_window", ""),
        cruise_speed_rad_per_s=on_motor("cruise_speed", "_per_s"),
        acceleration_rad_per_s2=on_motor("acceleration", "_per_s2"),
        jerk_rad_per_s3=on_motor("jerk", "_per_s3"),
    )


def check_machine(checker: Checker, machine: Machine) -> None:
    """Report contradictions between parts of the machine."""
    drive, motion = machine.drive, machine.motion
    if not drive.rated_torque_nm <= drive.torque_limit_nm:
        checker.report(
            "drive.torque_limit_nm", f"{drive.torque_limit_nm:g} Nm, below rated torque",
            f"at least rated_torque_nm = {drive.rated_torque_nm:g} Nm", "check both values",
        )  # fmt: skip
    elif drive.torque_limit_nm > LARGEST_TORQUE_PER_UNIT * drive.rated_torque_nm:
        checker.report(
            "drive.torque_limit_nm", f"{drive.torque_limit_nm:g} Nm",
            f"at most {LARGEST_TORQUE_PER_UNIT:g} times rated_torque_nm "
            f"(fixed-point range), {LARGEST_TORQUE_PER_UNIT * drive.rated_torque_nm:g} Nm",
            "check both values",
        )  # fmt: skip
    if motion.cruise_speed_rad_per_s > drive.top_speed_rad_per_s:
        checker.report(
            "motion", f"cruise speed {motion.cruise_speed_rad_per_s:g} rad/s on the motor shaft",
            f"at most drive.top_speed_rad_per_s = {drive.top_speed_rad_per_s:g}",
            "cruise more slowly, or check gear ratio and units",
        )  # fmt: skip
    motor_kgm2 = machine.chain.motor_inertia_kgm2
    if drive.rotor_inertia_kgm2 > motor_kgm2 * (1.0 + 1e-9):
        checker.report(
            "drive.rotor_inertia_kgm2", f"{drive.rotor_inertia_kgm2:g} kg m2",
            f"at most the first mass, which contains the rotor: {motor_kgm2:g} kg m2",
            "check both values",
        )  # fmt: skip
    check_base(checker, machine)
    _check_torque(checker, machine)
    _check_holding(checker, machine)
    _check_travel(checker, machine)
    check_belt_window(checker, machine)
    check_torque_orders(checker, machine)


def _check_travel(checker: Checker, machine: Machine) -> None:
    """Report a cruise speed that the travel leaves no room to reach and to stop from."""
    motion = machine.motion
    speed, acceleration = motion.cruise_speed_rad_per_s, motion.acceleration_rad_per_s2
    jerk_time_s = acceleration / motion.jerk_rad_per_s3
    needed = speed * (speed / acceleration + jerk_time_s)
    window = motion.travel_window_rad
    if needed < window:
        return
    # The positive root of v^2 / a + v a / j = window.
    half = 0.5 * acceleration * jerk_time_s
    allowed = math.sqrt(half * half + acceleration * window) - half
    per_m = machine.motor_rad_per_load_m
    linear = "" if per_m is None else f", {allowed / per_m:.3g} m/s at the load"
    checker.report(
        "motion", f"a cruise speed of {speed:.4g} rad/s, which needs {needed:.4g} rad to reach it "
        f"and to stop, in a travel window of {window:.4g} rad",
        f"less than {allowed:.4g} rad/s on the motor shaft{linear}",
        "cruise more slowly, accelerate faster, or widen the travel window",
    )  # fmt: skip


def _check_holding(checker: Checker, machine: Machine) -> None:
    friction = machine.friction
    constant_nm = abs(friction.constant_load_torque_nm)
    falls = constant_nm > friction.motor_coulomb_nm + friction.load_coulomb_nm
    if machine.brake is None and falls:
        checker.report(
            "[brake]", f"none, but a constant load of {constant_nm:g} Nm on the motor shaft that "
            "friction does not hold", "a holding brake: without torque this axis would fall",
            "add [brake] with open_time_s, close_time_s, holding_torque_nm, or balance the load",
        )  # fmt: skip
    elif machine.brake is not None and machine.brake.holding_torque_nm < constant_nm:
        checker.report(
            "brake.holding_torque_nm", f"{machine.brake.holding_torque_nm:g} Nm",
            f"at least the constant load on the motor shaft, {constant_nm:g} Nm",
            "take a stronger brake, or check gear ratio and units",
        )  # fmt: skip


def _check_torque(checker: Checker, machine: Machine) -> None:
    drive, friction, motion = machine.drive, machine.friction, machine.motion
    if abs(friction.constant_load_torque_nm) > drive.rated_torque_nm:
        checker.report(
            "friction", f"constant load of {friction.constant_load_torque_nm:g} Nm",
            f"at most drive.rated_torque_nm = {drive.rated_torque_nm:g} Nm",
            "check the gear ratio, the units and the counterweight",
        )  # fmt: skip
    needed = (
        machine.chain.total_inertia_kgm2 * motion.acceleration_rad_per_s2
        + (friction.motor_viscous_nms_per_rad + friction.load_viscous_nms_per_rad)
        * motion.cruise_speed_rad_per_s
        + max(friction.motor_coulomb_nm, friction.motor_breakaway_nm)
        + max(friction.load_coulomb_nm, friction.load_breakaway_nm)
        + abs(friction.constant_load_torque_nm)
    )
    if needed > drive.torque_limit_nm:
        checker.report(
            "motion", f"moves that need {needed:.4g} Nm (acceleration, friction, constant load)",
            f"at most drive.torque_limit_nm = {drive.torque_limit_nm:g} Nm",
            "accelerate or cruise more slowly, or check inertias and units",
        )  # fmt: skip
