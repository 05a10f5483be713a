"""How well the axis followed whole moves with the gains found, as the trial measured it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gainwright_sim.rehearsal.rehearse import Rehearsal

INPUTS = ("profile_error", "profile_overshoot", "rest_swing", "rest_jumps")
BOUNDS = ("profile_error_bound", "profile_overshoot_bound")
SWING_BOUNDS = {True: "rest_swing_bound", False: "motor_swing_bound"}
"""Constants of such a trial; the last by whether a sensor tells of the load."""
WATCHED = "profile_watch"
"""Output that is true from the begin of a move to the end of standing after it."""
VARIABLE = "profile_bound"
"""Variable, an enumeration: which bound took the last notch."""
HUNTING = "hunting"
"""Its value where that lowered the integral rate, not the position gain."""
TEN_PER_MS = 10.0


@dataclass(frozen=True, slots=True)
class Profile:
    """The worse of both directions, in ms at cruise speed: the way that takes so long."""

    following_error_ms: float
    overshoot_ms: float
    rest_swing_ms: float
    """Of the load where it has a sensor, else of the motor."""
    bounds_ms: tuple[float, ...]
    """At most, in the same order; empty if the trial has no constants of the names known."""
    cruise_mm_per_ms: float | None
    """None for a load that turns."""
    lowered_by: str | None
    """Which bound lowered a gain; None if none did."""
    load_seen: bool
    """Whether a sensor at the load told what swings at rest; else only the motor's encoder did."""

    def in_words(self) -> str:
        """Return what was reached and asked for."""
        values = self.following_error_ms, self.overshoot_ms, self.rest_swing_ms
        who = "load" if self.load_seen else "motor"
        names = "following error", "past the end", f"the {who} swinging at rest"
        found = ", ".join(
            f"{name} {value:.1f} ms{self._way(value)}"
            for name, value in zip(names, values, strict=True)
        )
        asked = "/".join(f"{bound:g}" for bound in self.bounds_ms)
        bounds = f"; asked for: {asked} ms" if asked else ""
        lowered = "" if self.lowered_by is None else f"; a gain was lowered: {self.lowered_by}"
        return f"{found}, at cruise speed{bounds}{lowered}"

    def _way(self, value_ms: float) -> str:
        if self.cruise_mm_per_ms is None:
            return ""
        return f" ({value_ms * self.cruise_mm_per_ms:.2g} mm)"


def find_profile(rehearsal: Rehearsal) -> Profile | None:
    """Return what the last two whole moves showed; None without two in a row."""
    known = rehearsal.trial.index
    if any(name not in known.inputs for name in INPUTS) or WATCHED not in known.outputs:
        return None
    ends = _ends(rehearsal)
    if len(ends) < 2:
        return None
    values = [
        max(int(rehearsal.input(name)[tick]) for tick in ends[-2:]) / TEN_PER_MS
        for name in INPUTS[:3]
    ]
    constants = {constant.name: constant.value for constant in rehearsal.trial.constants}
    load_seen = rehearsal.machine.load_sensor is not None
    names = (*BOUNDS, SWING_BOUNDS[load_seen])
    bounds = [constants[name] / TEN_PER_MS for name in names if name in constants]
    per_m = rehearsal.machine.motor_rad_per_load_m
    cruise = rehearsal.machine.motion.cruise_speed_rad_per_s
    return Profile(
        *values,
        bounds_ms=tuple(bounds) if len(bounds) == len(names) else (),
        cruise_mm_per_ms=None if per_m is None else cruise / per_m,
        lowered_by=lowered_by(rehearsal),
        load_seen=load_seen,
    )


def _ends(rehearsal: Rehearsal) -> np.ndarray:
    """Return the last tick of each whole move with its standing, (n,)."""
    watched = rehearsal.output(WATCHED) != 0
    targets = rehearsal.output("target_position")
    goes_on = watched[1:] & (targets[1:] == targets[:-1])
    return np.flatnonzero(watched[:-1] & ~goes_on) + 1


def lowered_by(rehearsal: Rehearsal) -> str | None:
    """Return the bound of the profile that took the last notch; None if none did."""
    trial = rehearsal.trial
    variables = {signal.name: signal for signal in trial.variables}
    if VARIABLE not in variables or not len(rehearsal.log):
        return None
    value = int(rehearsal.variable(VARIABLE)[-1])
    return trial.value_of(variables[VARIABLE], value).name if value else None
