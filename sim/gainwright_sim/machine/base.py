"""The base that the motor pushes itself off from: what a description says of it, and what it is."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from gainwright_sim.machine.check import Checker
from gainwright_sim.machine.mechanics import mass_to_inertia_kgm2
from gainwright_sim.machine.model import LARGEST_MASS_COUNT, Base, Machine
from gainwright_sim.machine.reduce import Reduction


def build_base(values: Mapping[str, Any], reduction: Reduction) -> Base:
    """Return the base of a checked ``[base]`` table."""
    inertia = values.get("inertia_kgm2")
    if inertia is None:
        assert reduction.load_m_per_rad is not None  # kilograms are refused for loads that turn
        inertia = mass_to_inertia_kgm2(values["mass_kg"], reduction.load_m_per_rad)
    stiffness, damping = values.get("stiffness_nm_per_rad"), values.get("damping_nms_per_rad")
    if stiffness is None:
        stiffness = inertia * (2.0 * math.pi * values["natural_frequency_hz"]) ** 2
    if damping is None:
        damping = 2.0 * values["damping_ratio"] * math.sqrt(stiffness * inertia)
    return Base(inertia, stiffness, damping)


def on_base(machine: Machine, base: Base) -> Machine:
    """Return the machine on a base, in all its situations."""
    situations = tuple(
        replace(place, chain=replace(place.chain, base=base)) for place in machine.situations
    )
    return replace(machine, chain=replace(machine.chain, base=base), situations=situations)


def check_base(checker: Checker, machine: Machine) -> None:
    """Report a base under an axis that is rigid, or has too many masses with it."""
    chain = machine.chain
    if chain.base is None:
        return
    if chain.mass_count == 1:
        checker.report(
            "[base]", "a base under a rigid axis", "an axis of two masses or more",
            "add the stiffness between motor and load; a very stiff one makes no difference",
        )  # fmt: skip
    elif chain.body_count > LARGEST_MASS_COUNT:
        checker.report(
            "[base]", f"{chain.mass_count} masses and a base", f"{LARGEST_MASS_COUNT} in all",
            "lump neighbours that are stiffly joined",
        )  # fmt: skip
