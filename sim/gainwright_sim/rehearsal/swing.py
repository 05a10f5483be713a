"""How much the load still swings at constant speed with what was chosen: simulation sees it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gainwright_sim.rehearsal.rehearse import Rehearsal

LAST_S = 0.25
"""Of each stretch at constant speed, the part that counts."""
STEADY_SHARE, CHANGE_SHARE, STEADY_TICKS = 0.5, 0.005, 20
"""A constant speed is at least that share of cruise speed and changes by less than this in so many
ticks."""
HARDLY = 0.25
"""Below this share of the load's swinging, that of the motor hardly shows it."""


@dataclass(frozen=True, slots=True)
class LoadSwing:
    """Largest speeds about the mean, of cruise speed, in the last part of the last moves."""

    load_share: float
    motor_share: float
    sensor_rad: float | None = None
    """Residual vibration: largest distance of the load sensor's position from its mean way, on the
    motor shaft; None without a load sensor."""
    sensor_m: float | None = None
    """The same at the load; None for a load that turns."""

    def in_words(self) -> str:
        words = (
            f"swings by {self.load_share:.1%} of cruise speed at the end of the last moves, the "
            f"motor by {self.motor_share:.1%}"
        )
        if self.sensor_rad is not None:
            size = f"{self.sensor_rad:.2g} rad on the motor shaft"
            size = size if self.sensor_m is None else f"{1e3 * self.sensor_m:.2g} mm"
            words += f"; residual vibration at the load sensor {size}"
        if self.motor_share >= HARDLY * self.load_share:
            return words
        return f"{words}: from the motor's signals it can hardly be seen"


def load_swing(rehearsal: Rehearsal) -> LoadSwing | None:
    """Return the swinging of the last stretches at constant speed; None for a rigid axis."""
    machine, inputs = rehearsal.machine, rehearsal.trial.index.inputs
    if machine.chain.mass_count == 1:
        return None
    steady = rehearsal.input("cruising") if "cruising" in inputs else _steady(rehearsal)
    cruising = np.concatenate([[0], steady, [0]])
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
    return LoadSwing(*shares, *_at_sensor(rehearsal, stretches[-2:]))


def _steady(rehearsal: Rehearsal) -> np.ndarray:
    """Return at which ticks the reference moves at a constant speed, (n,)."""
    reference = rehearsal.log.signal("position_reference").astype(float)
    ways = np.abs(np.diff(reference, prepend=reference[:1]))
    cruise = rehearsal.machine.motion.cruise_speed_rad_per_s * rehearsal.trial.tick_us * 1e-6
    changed = np.abs(ways - np.roll(ways, STEADY_TICKS))
    return ((ways > STEADY_SHARE * cruise) & (changed < CHANGE_SHARE * cruise)).astype(int)


def _at_sensor(
    rehearsal: Rehearsal, stretches: list[tuple[int, int]]
) -> tuple[float | None, float | None]:
    """Return the residual vibration in rad on the motor shaft, and in m at the load."""
    if rehearsal.machine.load_sensor is None:
        return None, None
    seen = rehearsal.log.signal("load_position").astype(float)
    size = max(_vibration(seen[a:b]) for a, b in stretches)
    per_m = rehearsal.machine.motor_rad_per_load_m
    return size, None if per_m is None else size / per_m


def _vibration(position: np.ndarray) -> float:
    """Return the largest distance from a straight line in time."""
    time = np.arange(len(position))
    return float(np.abs(position - np.polyval(np.polyfit(time, position, 1), time)).max())


def _swing(speed: np.ndarray) -> float:
    return float(np.abs(speed - speed.mean()).max())
