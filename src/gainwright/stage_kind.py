"""What a stage can tune: one object per setting, with everything that differs between settings.

A stage of a trial binds to a kind by its name. Each setting rises towards its limit, so that a
ladder with a ratio above one always climbs from safe to critical; that is why an integral part
is tuned as a rate 1/Tn. The exact limit of a kind, which a trial never knows, stands in
``gainwright_sim.theory.stages``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from gainwright.detector.timing import (
    DriveRatings,
    DriveTiming,
    lag_time_s,
    lowest_integral_oscillation_hz,
    lowest_oscillation_frequency_hz,
)
from gainwright.language.model import Stage


@dataclass(frozen=True, slots=True)
class StageKind:
    """One setting that a stage may raise."""

    setting: str
    """Of the drive; a stage of that name is of this kind."""
    unit: str
    """Engineering unit."""
    per_unit_of: str
    """What the exported word is a multiple of, in words."""
    base: Callable[[DriveRatings], float]
    """Engineering value of one per unit."""
    start: Callable[[DriveTiming, float], float]
    """Value of the lowest rung, from the drive's timing and the machine's own start value."""
    lowest_oscillation_hz: Callable[[DriveTiming], float]
    """Band rule: where the detector listens from. Below it the loop cannot oscillate, whatever the
    machine; a kind of which that is not true says so."""
    pulse_share: Callable[[Stage, DriveRatings, float, float], float]
    """Pulse rule: share of the torque limit for the test pulse, from the stage, the ratings, the
    longest half wave of the pulse in s, and the value that applies in the engineering unit."""
    in_drive_units: Callable[[DriveRatings, float], str]
    """A value above 0 in the units that drives use, with the conversion."""


def _speed_gain_pulse_share(
    stage: Stage, ratings: DriveRatings, half_wave_s: float, gain_nms_per_rad: float
) -> float:
    """Return the share that keeps the loop's answer to one half wave at ``response_share``.

    The answer is gain * torque * half wave / rotor inertia: what the speed controller makes of the
    speed that the half wave gives to the rotor alone.
    """
    answer = gain_nms_per_rad * half_wave_s / ratings.rotor_inertia_kgm2
    return min(stage.pulse_share, stage.response_share / answer)


INTEGRAL_START = 0.02
"""Lowest rung of the integral rate, times the drive's lag: far from any limit ..."""
INTEGRAL_TOP = 0.92
"""... and the highest that is tried. With a rate beyond 1 / lag no axis is stable; below it the
passivity of the axis bounds from below where the loop can oscillate."""


POSITION_START = 0.0013
"""Highest start of the position gain, times the drive's lag; 131 times it, the top of the shipped
ladder, is then at most 0.17 / lag, near 1/4 of the speed loop's own lag."""
LOAD_POSITION_START = 0.02
"""Lowest rung of the gain of the load's position, 1/s: the load's own damping is far above it, as
long as its swinging takes less than a minute to die away."""
PULSE_FALLS = (1.0, 0.5)
"""Where a pulse rule gives less than what the stage states, the share falls as the value to one of
these powers: an export keeps the heights as such a series."""
FULL_PULSE_BELOW = 0.15
"""Rate or position gain times the longest half wave of the pulse, up to which it is full."""


def _own_start(timing: DriveTiming, own: float) -> float:
    return own


def _integral_start(timing: DriveTiming, own: float) -> float:
    """Return a rate that suits the drive's timing; the machine's own slow one is not climbed from.

    From 1 / 100 ms, as a drive may start, to the limit would take 120 rungs.
    """
    return INTEGRAL_START / lag_time_s(timing)


def _position_start(timing: DriveTiming, own: float) -> float:
    """Return the machine's own start value, or a lower one that suits a slow drive."""
    return min(own, POSITION_START / lag_time_s(timing))


def _load_position_start(timing: DriveTiming, own: float) -> float:
    return LOAD_POSITION_START


def _integral_band_hz(timing: DriveTiming) -> float:
    return lowest_integral_oscillation_hz(timing, lag_time_s(timing) / INTEGRAL_TOP)


def _stated_pulse_share(
    stage: Stage, ratings: DriveRatings, half_wave_s: float, value: float
) -> float:
    """Return what the stage states for slow values, and less where the loop answers more.

    The answer of a loop near its limit grows with the value; the speed gain, which is held, is not
    known here. A height that proves too low is raised at run time.
    """
    return stage.pulse_share * min(1.0, math.sqrt(FULL_PULSE_BELOW / (value * half_wave_s)))


PER_SECOND_OF_METRE_PER_MINUTE_AND_MM = 1000.0 / 60.0
"""1 (m/min)/mm is 16.667 1/s."""


def _speed_gain_base(ratings: DriveRatings) -> float:
    return ratings.rated_torque_nm / ratings.top_speed_rad_per_s


def _speed_gain_in_words(ratings: DriveRatings, value: float) -> str:
    base, per_min = _speed_gain_base(ratings), value * 2.0 * math.pi / 60.0
    return (
        f"speed gain {value:.4g} N m s/rad = {value / base:.4g} per unit (divided by rated "
        f"torque / top speed, {base:.4g}) = {per_min:.4g} N m/(1/min) (times 2 pi/60)"
    )


def _integral_rate_in_words(ratings: DriveRatings, value: float) -> str:
    return f"integral time (reset time) {1e3 / value:.3g} ms (1000 / {value:.4g} 1/s)"


def _position_gain_in_words(ratings: DriveRatings, value: float, over: str = "") -> str:
    linear = value / PER_SECOND_OF_METRE_PER_MINUTE_AND_MM
    return (
        f"position gain{over} {value:.4g} 1/s = {linear:.3g} (m/min)/mm (divided by "
        f"16.67); at 1 m/s without feedforward the position lags by {1e3 / value:.3g} mm"
    )


def _load_position_gain_in_words(ratings: DriveRatings, value: float) -> str:
    return _position_gain_in_words(ratings, value, " over the load")


STAGE_KINDS: Mapping[str, StageKind] = {
    kind.setting: kind
    for kind in (
        StageKind(
            setting="speed_gain",
            unit="N m s/rad",
            per_unit_of="rated torque per top speed",
            base=_speed_gain_base,
            start=_own_start,
            lowest_oscillation_hz=lowest_oscillation_frequency_hz,
            pulse_share=_speed_gain_pulse_share,
            in_drive_units=_speed_gain_in_words,
        ),
        StageKind(
            setting="integral_rate",
            unit="1/s",
            per_unit_of="1/s",
            base=lambda ratings: 1.0,
            start=_integral_start,
            lowest_oscillation_hz=_integral_band_hz,
            pulse_share=_stated_pulse_share,
            in_drive_units=_integral_rate_in_words,
        ),
        StageKind(
            setting="position_gain",
            unit="1/s",
            per_unit_of="1/s",
            base=lambda ratings: 1.0,
            start=_position_start,
            # A position loop may swing slower than this, with the load: that is not for the
            # detector of fast oscillations, but for what the drive measures of its position.
            lowest_oscillation_hz=_integral_band_hz,
            pulse_share=_stated_pulse_share,
            in_drive_units=_position_gain_in_words,
        ),
        StageKind(
            # The position loop closed over a sensor at the load, not the motor's encoder. Its
            # limit lies where the load swings on a motor that stands: its ringing tells, never the
            # detector.
            setting="load_position_gain",
            unit="1/s",
            per_unit_of="1/s",
            base=lambda ratings: 1.0,
            start=_load_position_start,
            lowest_oscillation_hz=_integral_band_hz,
            pulse_share=_stated_pulse_share,
            in_drive_units=_load_position_gain_in_words,
        ),
    )
}
"""Kinds by the name of their setting."""
DRIVE_SETTINGS = tuple(STAGE_KINDS)
"""Settings of a drive that a stage may tune."""
