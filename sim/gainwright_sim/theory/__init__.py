"""Exact stability theory of the sampled drive loop, as a yardstick for what a trial finds."""

from gainwright_sim.theory.closed_loop import (
    ClosedLoop,
    LoopTiming,
    position_loop,
    speed_loop,
)
from gainwright_sim.theory.limit import (
    StabilityLimit,
    UnstableAtStartError,
    stability_limit,
)
from gainwright_sim.theory.random_axis import sample_axis

__all__ = [
    "ClosedLoop",
    "LoopTiming",
    "StabilityLimit",
    "UnstableAtStartError",
    "position_loop",
    "sample_axis",
    "speed_loop",
    "stability_limit",
]
