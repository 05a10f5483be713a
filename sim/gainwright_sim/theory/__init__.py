"""Exact stability theory of the sampled drive loop, as a yardstick for what a trial finds."""

from gainwright_sim.theory.closed_loop import ClosedLoop, closed_loop
from gainwright_sim.theory.limit import (
    StabilityLimit,
    UnstableAtStartError,
    limit_for_rigid_body,
    machine_stability_limit,
    stability_limit,
)

__all__ = [
    "ClosedLoop",
    "StabilityLimit",
    "UnstableAtStartError",
    "closed_loop",
    "limit_for_rigid_body",
    "machine_stability_limit",
    "stability_limit",
]
