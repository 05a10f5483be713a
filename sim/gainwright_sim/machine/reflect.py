"""What the mechanics of a description are on the motor shaft, with the arithmetic spelled out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from gainwright_sim.machine.reduce import reduce_mechanics

_ARMS = {
    "belt": ("pulley radius", "pulley_radius_m", 1e3, ""),
    "wheel": ("wheel radius", "wheel_radius_m", 1e3, ""),
    "screw": ("pitch", "screw_pitch_m", 1e3, " / 2 pi"),
}
"""Per kind: what moves the load, its key, mm per unit, and what it is divided by."""
_TURNING = {
    "belt": ("pulleys", "pulley_inertia_kgm2"),
    "wheel": ("wheel", "wheel_inertia_kgm2"),
    "screw": ("screw", "screw_inertia_kgm2"),
}
_STIFFNESS = {"wheel": "drive_stiffness_n_per_m", "screw": "axial_stiffness_n_per_m"}


def reflection_lines(values: Mapping[str, Any]) -> Iterator[str]:
    """Yield how a checked ``[mechanics]`` table becomes inertias and a stiffness at the motor."""
    chain = reduce_mechanics(values).chain
    if values["kind"] == "chain":
        return
    lines = _gear_lines if values["kind"] == "gear" else _linear_lines
    yield from lines(values)
    total = chain.total_inertia_kgm2
    motor = values["motor_inertia_kgm2"]
    yield f"all of it {total:.4g} kg m2, {total / motor:.3g} times the motor's own"


def _gear_lines(values: Mapping[str, Any]) -> Iterator[str]:
    ratio, load = values["gear_ratio"], values["load_inertia_kgm2"]
    yield f"load {load:.4g} kg m2 / {ratio:g}^2 = {load / ratio**2:.4g} kg m2"
    stiffness = values["shaft_stiffness_nm_per_rad"]
    if stiffness is not None:
        yield f"shaft {stiffness:.4g} N m/rad / {ratio:g}^2 = {stiffness / ratio**2:.4g} N m/rad"


def _linear_lines(values: Mapping[str, Any]) -> Iterator[str]:
    kind, ratio = values["kind"], values["gear_ratio"]
    name, key, per_m, divided = _ARMS[kind]
    metres = reduce_mechanics(values).load_m_per_rad
    assert metres is not None  # of a load that moves along a line
    gear = "" if ratio == 1.0 else f" / gear ratio {ratio:g}"
    arm = f"({1e3 * metres:.4g} mm/rad)^2"
    mass = values["load_mass_kg"]
    yield (
        f"1 rad of the motor moves the load by {1e3 * metres:.4g} mm "
        f"({name} {per_m * values[key]:g} mm{divided}{gear})"
    )
    yield f"load {mass:.4g} kg x {arm} = {mass * metres**2:.4g} kg m2"
    turns, key = _TURNING[kind]
    turning = values[key]
    if turning and ratio != 1.0:
        yield f"{turns} {turning:.4g} kg m2 / {ratio:g}^2 = {turning / ratio**2:.4g} kg m2"
    elif turning:
        yield f"{turns} {turning:.4g} kg m2"
    stiffness = _stiffness_words(values)
    if stiffness is not None:
        words, value = stiffness
        yield f"{words}, x {arm} = {value * metres**2:.4g} N m/rad"


def _stiffness_words(values: Mapping[str, Any]) -> tuple[str, float] | None:
    """Return the stiffness to the load in words and N/m; None for a rigid axis."""
    if values["kind"] == "belt":
        tensile = values["belt_tensile_stiffness_n"]
        spans = values["belt_first_length_m"], values["belt_second_length_m"]
        found = tensile * (1.0 / spans[0] + 1.0 / spans[1])
        return (
            f"belt {tensile:.4g} N x (1/{spans[0]:g} m + 1/{spans[1]:g} m) = {found:.4g} N/m",
            found,
        )
    found = values[_STIFFNESS[values["kind"]]]
    return None if found is None else (f"stiffness {found:.4g} N/m", found)
