"""Reduce the mechanics table of a description, whatever its kind, to a chain on the motor shaft."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from gainwright_sim.machine.mechanics import (
    belt_loop_stiffness_n_per_m,
    linear_to_rotary,
    mass_to_inertia_kgm2,
    rigid_chain,
    screw_m_per_rad,
    through_gear,
    two_mass_chain,
)
from gainwright_sim.machine.model import Chain, Play


@dataclass(frozen=True, slots=True)
class Reduction:
    chain: Chain
    load_m_per_rad: float | None
    """Metres of the load per radian of the motor; ``None`` for a load that turns."""


def reduce_mechanics(values: Mapping[str, Any]) -> Reduction:
    """Return the chain of a checked ``[mechanics]`` table."""
    kind = values["kind"]
    if kind == "chain":
        return Reduction(_explicit(values), None)
    if kind == "gear":
        ratio = values["gear_ratio"]
        load = through_gear(values["load_inertia_kgm2"], ratio)
        stiffness = values["shaft_stiffness_nm_per_rad"]
        reflected = None if stiffness is None else through_gear(stiffness, ratio)
        return Reduction(_join(values, values["motor_inertia_kgm2"], load, reflected), None)
    return _linear(values)


def _explicit(values: Mapping[str, Any]) -> Chain:
    inertias = values["inertias_kgm2"]
    dampings = values["dampings_nms_per_rad"] or (0.0,) * (len(inertias) - 1)
    return Chain(inertias, values["stiffnesses_nm_per_rad"], dampings)


def _linear(values: Mapping[str, Any]) -> Reduction:
    radius_m, turning_inertia_kgm2, stiffness_n_per_m = _LINEAR_PARTS[values["kind"]](values)
    ratio = values["gear_ratio"]
    load_m_per_rad = radius_m / ratio
    motor = values["motor_inertia_kgm2"] + through_gear(turning_inertia_kgm2, ratio)
    load = mass_to_inertia_kgm2(values["load_mass_kg"], load_m_per_rad)
    stiffness = (
        None if stiffness_n_per_m is None else linear_to_rotary(stiffness_n_per_m, load_m_per_rad)
    )
    return Reduction(_join(values, motor, load, stiffness), load_m_per_rad)


def _join(
    values: Mapping[str, Any], motor_kgm2: float, load_kgm2: float, stiffness: float | None
) -> Chain:
    if stiffness is None:
        return rigid_chain(motor_kgm2 + load_kgm2)
    return two_mass_chain(motor_kgm2, load_kgm2, stiffness, values["resonance_damping_ratio"])


def build_play(values: Mapping[str, Any], reduction: Reduction) -> Play | None:
    """Return what keeps the spring from holding both ways; None where nothing does."""
    if values.get("backlash_rad"):
        stiffness = reduction.chain.stiffnesses_nm_per_rad[0]
        return Play(values["backlash_rad"] * values["gear_ratio"], stiffness)
    pretension_n, metres = values.get("belt_pretension_n"), reduction.load_m_per_rad
    if pretension_n is None or metres is None:
        return None
    tensile_n = values["belt_tensile_stiffness_n"]
    first, second = (
        linear_to_rotary(tensile_n / values[f"belt_{span}_length_m"], metres)
        for span in ("first", "second")
    )
    return Play(
        pretension_nm=pretension_n * metres, first_nm_per_rad=first, second_nm_per_rad=second
    )


def _wheel(values: Mapping[str, Any]) -> tuple[float, float, float | None]:
    return (
        values["wheel_radius_m"],
        values["wheel_inertia_kgm2"],
        values["drive_stiffness_n_per_m"],
    )


def _belt(values: Mapping[str, Any]) -> tuple[float, float, float | None]:
    stiffness = belt_loop_stiffness_n_per_m(
        values["belt_tensile_stiffness_n"],
        values["belt_first_length_m"],
        values["belt_second_length_m"],
    )
    return values["pulley_radius_m"], values["pulley_inertia_kgm2"], stiffness


def _screw(values: Mapping[str, Any]) -> tuple[float, float, float | None]:
    return (
        screw_m_per_rad(values["screw_pitch_m"]),
        values["screw_inertia_kgm2"],
        values["axial_stiffness_n_per_m"],
    )


_LINEAR_PARTS = {"wheel": _wheel, "belt": _belt, "screw": _screw}
"""Per kind: metres per radian of the output shaft, inertia on it, stiffness to the load."""
