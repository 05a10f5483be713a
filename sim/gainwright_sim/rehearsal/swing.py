"""How much the load still swings at constant speed with what was chosen: simulation sees it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gainwright_sim.rehearsal.rehearse import Rehearsal

LAST_S = 0.25
"""Of each stretch at constant speed, the part that counts."""
HARDLY = 0.25
"""Below this share of the load's swinging, that of the motor hardly shows it."""


@dataclass(frozen=True, slots=True)
class LoadSwing:
    """Largest speeds about the mean, of cruise speed, in the last part of the last moves."""

    load_share: float
    motor_share: float

    def in_words(self) -> str:
        words = (
            f"swings by {self.load_share:.1%} of cruise speed at the end of the last moves, the "
            f"motor by {self.motor_share:.1%}"
        )
        if self.motor_share >= HARDLY * self.load_share:
            return words
        return f"{words}: from the motor's signals it can hardly be seen"


def load_swing(rehearsal: Rehearsal) -> LoadSwing | None:
    """Return the swinging of the last stretches at constant speed; None for a rigid axis."""
    machine, inputs = rehearsal.machine, rehearsal.trial.index.inputs
    if machine.chain.mass_count == 1 or "cruising" not in inputs:
        return None
    cruising = np.concatenate([[0], rehearsal.input("cruising"), [0]])
    starts, ends = (np.flatnonzero(np.diff(cruising) == step) for step in (1, -1))
    ticks = round(LAST_S / (rehearsal.trial.tick_us * 1e-6))
    stretches = [(b - ticks, b) for a, b in zip(starts, ends, strict=True) if b - a >= 2 * ticks]
    if not stretches:
        return None
    shares = [
        max(_swing(rehearsal.log.signal(name)[a:b]) for a, b in stretches[-2:])
        / machine.motion.cruise_speed_rad_per_s
        for name in ("load_speed", "speed")
    ]
    return LoadSwing(*shares)


def _swing(speed: np.ndarray) -> float:
    return float(np.abs(speed - speed.mean()).max())
