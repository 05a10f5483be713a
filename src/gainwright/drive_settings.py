"""Settings of a drive that a stage may tune, and how they are scaled to per unit.

A stage binds to a setting by its name. Each setting rises towards its limit, so that a ladder with
a ratio above one always climbs from safe to critical; that is why the integral part is tuned as a
rate 1/Tn.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from gainwright.detector.design import DriveRatings


@dataclass(frozen=True, slots=True)
class DriveSetting:
    name: str
    unit: str
    """Engineering unit."""
    per_unit_of: str
    """What the exported word is a multiple of, in words."""
    base: Callable[[DriveRatings], float]
    """Engineering value of one per unit."""


DRIVE_SETTINGS = (
    DriveSetting(
        "speed_gain",
        "N m s/rad",
        "rated torque per top speed",
        lambda ratings: ratings.rated_torque_nm / ratings.top_speed_rad_per_s,
    ),
    DriveSetting("integral_rate", "1/s", "1/s", lambda ratings: 1.0),
    DriveSetting("position_gain", "1/s", "1/s", lambda ratings: 1.0),
)


def drive_setting(name: str) -> DriveSetting:
    """Return the setting of that name; KeyError if a drive has none of that name."""
    return {setting.name: setting for setting in DRIVE_SETTINGS}[name]
