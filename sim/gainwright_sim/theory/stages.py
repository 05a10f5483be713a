"""Exact theory of each kind of stage: what a rehearsal or a campaign compares with.

One entry per kind of :data:`gainwright.stage_kind.STAGE_KINDS`; a kind without one is reported
without exact figures.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from gainwright_sim.machine.model import Machine
from gainwright_sim.theory.limit import (
    StabilityLimit,
    limit_for_rigid_body,
    machine_is_stable,
    machine_stability_limit,
)


@dataclass(frozen=True, slots=True)
class StageTheory:
    """All values in the unit of the kind, all other settings at the machine's start values."""

    limit: Callable[[Machine], StabilityLimit]
    """The exact stability limit; raises UnstableAtStartError if nothing is stable."""
    rigid_body_limit: Callable[[Machine], StabilityLimit]
    """What one would calculate from the total inertia alone."""
    is_stable: Callable[[Machine, float], bool]
    """Whether the loop decays at a value."""


STAGE_THEORY: Mapping[str, StageTheory] = {
    "speed_gain": StageTheory(machine_stability_limit, limit_for_rigid_body, machine_is_stable),
}
