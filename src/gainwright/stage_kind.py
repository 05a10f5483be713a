"""What a stage can tune: one object per setting, with everything that differs between settings.

A stage of a trial binds to a kind by its name. Each setting rises towards its limit, so that a
ladder with a ratio above one always climbs from safe to critical; that is why an integral part
would be tuned as a rate 1/Tn. The exact limit of a kind, which a trial never knows, stands in
``gainwright_sim.theory.stages``; its start value, in the machine description.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from gainwright.detector.timing import DriveRatings, DriveTiming, lowest_oscillation_frequency_hz
from gainwright.language.model import Stage

DRIVE_SETTINGS = ("speed_gain", "integral_rate", "position_gain")
"""Settings of a drive in the order of the rig's ``enum rig_setting``; kinds tune one each."""


@dataclass(frozen=True, slots=True)
class StageKind:
    """One setting that a stage may raise."""

    setting: str
    """One of DRIVE_SETTINGS; a stage of that name is of this kind."""
    unit: str
    """Engineering unit."""
    per_unit_of: str
    """What the exported word is a multiple of, in words."""
    base: Callable[[DriveRatings], float]
    """Engineering value of one per unit."""
    lowest_oscillation_hz: Callable[[DriveTiming], float]
    """Band rule: below this frequency the loop cannot oscillate, whatever the machine."""
    pulse_share: Callable[[Stage, DriveRatings, float, float], float]
    """Pulse rule: share of the torque limit for the test pulse, from the stage, the ratings, the
    longest half wave of the pulse in s, and the value that applies in the engineering unit."""


def _speed_gain_pulse_share(
    stage: Stage, ratings: DriveRatings, half_wave_s: float, gain_nms_per_rad: float
) -> float:
    """Return the share that keeps the loop's answer to one half wave at ``response_share``.

    The answer is gain * torque * half wave / rotor inertia: what the speed controller makes of the
    speed that the half wave gives to the rotor alone.
    """
    answer = gain_nms_per_rad * half_wave_s / ratings.rotor_inertia_kgm2
    return min(stage.pulse_share, stage.response_share / answer)


STAGE_KINDS: Mapping[str, StageKind] = {
    kind.setting: kind
    for kind in (
        StageKind(
            setting="speed_gain",
            unit="N m s/rad",
            per_unit_of="rated torque per top speed",
            base=lambda ratings: ratings.rated_torque_nm / ratings.top_speed_rad_per_s,
            lowest_oscillation_hz=lowest_oscillation_frequency_hz,
            pulse_share=_speed_gain_pulse_share,
        ),
    )
}
"""Kinds by the name of their setting."""
