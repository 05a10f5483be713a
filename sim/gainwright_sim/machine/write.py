"""Writes a machine as a description that loads as the same machine again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import Any

from gainwright_sim.machine.disturbances import SINES
from gainwright_sim.machine.model import Disturbances, Friction, Machine

FORMAT = 1
_CAUTION = (
    "# Machine description. SI units throughout, everything on the motor shaft.\n"
    "# Written by a program: check every value against the machine before a trial moves it.\n"
)


def machine_toml(machine: Machine) -> str:
    """Return a description of kind "chain", all quantities reflected to the motor shaft.

    What moves along a line is described by its motor angle, so that metres are lost.
    """
    head = {
        "format": FORMAT,
        "name": machine.name,
        "description": machine.description,
        "origin": machine.origin,
    }
    lines = [_CAUTION, *_lines(head)]
    for name, table in _tables(machine):
        lines += ["", f"[{name}]", *_lines(table)]
    return "\n".join(lines) + "\n"


def _tables(machine: Machine) -> Iterator[tuple[str, Mapping[str, Any]]]:
    chain = asdict(machine.chain)
    base = chain.pop("base")
    yield "mechanics", {"kind": "chain", **chain}
    if base is not None:
        yield "base", base
    yield "friction", _friction(machine.friction)
    yield "drive", asdict(machine.drive)
    yield "speed_loop", asdict(machine.speed_loop)
    yield "motion", asdict(machine.motion)
    if machine.brake is not None:
        yield "brake", asdict(machine.brake)
    if machine.load_sensor is not None:
        yield "load_sensor", asdict(machine.load_sensor)
    disturbances = _disturbances(machine.disturbances)
    if disturbances:
        yield "disturbances", disturbances


def _friction(friction: Friction) -> dict[str, float]:
    """Return what is not left out: keys of the load say that they are reflected."""
    values = asdict(friction)
    if not friction.motor_breakaway_nm and not friction.load_breakaway_nm:
        del values["stribeck_speed_rad_per_s"]
    return {
        (key if key.startswith(("motor_", "stribeck_")) else f"reflected_{key}"): value
        for key, value in values.items()
        if value
    }


def _disturbances(source: Disturbances) -> dict[str, Any]:
    """Return what is not left out; sines as a list of orders and one of amplitudes."""
    values = {}
    for key, value in asdict(source).items():
        if key in SINES:
            values[f"{key}_orders"] = [sine["order"] for sine in value]
            values[f"{key}_per_unit"] = [sine["amplitude"] for sine in value]
        else:
            values[key] = value
    return {key: value for key, value in values.items() if value}


def _lines(table: Mapping[str, Any]) -> Iterator[str]:
    return (f"{key} = {_text(value)}" for key, value in table.items())


def _text(value: Any) -> str:
    if isinstance(value, (tuple, list)):
        return f"[{', '.join(_text(item) for item in value)}]"
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{escaped}"'
    return repr(float(value)) if isinstance(value, float) else str(value)
