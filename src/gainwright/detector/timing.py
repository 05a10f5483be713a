"""Where a speed loop can oscillate at all, from the drive's own timing and nothing else.

Seen from the motor, any chain of masses, springs and dampers is passive: from motor torque to motor
speed its phase stays between -90 and +90 degrees. A speed loop can therefore oscillate only at
frequencies where the drive's own lag (sampling, computing, current loop, filter) has reached 90
degrees. That frequency is known without any model of the machine, and everything below it, however
loud (a load that swings at 3 Hz, a resonance that the loop damps), is not onset.

(Passivity of collocated control: textbook matter, e.g. Preumont, *Vibration Control of Active
Structures*, ch. 4; from memory. The tests check it against exact limits of random axes.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from scipy.optimize import brentq

QUARTER_TURN = math.pi / 2

SpeedSource = Literal["difference", "sensor"]
"""Backward difference of the encoder's position over one tick, or a speed sensor on the motor shaft
without steps or lag (as textbook cases have it)."""


@dataclass(frozen=True, slots=True)
class DriveTiming:
    """What the drive knows of itself; all times in seconds."""

    control_tick_s: float
    torque_delay_ticks: int = 1
    """Whole ticks from reading the position to applying the torque; 0 in textbook cases only."""
    current_loop_time_constant_s: float = 0.0
    """First-order lag of the current loop; 0 for none."""
    speed_filter_time_constant_s: float = 0.0
    """First-order low-pass on the measured speed; 0 for none."""
    speed_source: SpeedSource = "difference"

    @property
    def speed_lag_ticks(self) -> float:
        """Return the lag of the measured speed itself."""
        return 0.5 if self.speed_source == "difference" else 0.0


@dataclass(frozen=True, slots=True)
class DriveRatings:
    """What stands on the plates of drive, motor and encoder."""

    rated_torque_nm: float
    torque_limit_nm: float
    top_speed_rad_per_s: float
    encoder_counts_per_turn: int
    rotor_inertia_kgm2: float


def drive_lag_rad(timing: DriveTiming, frequency_hz: float) -> float:
    """Return the phase lag from motor speed to motor torque of a proportional speed loop, in rad.

    The lag of the measured speed (half a tick for a backward difference), the whole-tick delay,
    half a tick for holding the torque, the current loop, and the sampled low-pass
    w += a (x - w), a = 1 - exp(-Ts/Tf).
    """
    omega = 2 * math.pi * frequency_hz
    theta = omega * timing.control_tick_s
    lag = theta * (timing.speed_lag_ticks + timing.torque_delay_ticks + 0.5)
    lag += math.atan(omega * timing.current_loop_time_constant_s)
    if timing.speed_filter_time_constant_s > 0:
        pole = math.exp(-timing.control_tick_s / timing.speed_filter_time_constant_s)
        lag += math.atan2(pole * math.sin(theta), 1 - pole * math.cos(theta))
    return lag


def lowest_oscillation_frequency_hz(timing: DriveTiming) -> float:
    """Return the frequency at which the drive's own lag reaches 90 degrees."""
    return frequency_of_lag_hz(timing, QUARTER_TURN)


def frequency_of_lag_hz(timing: DriveTiming, lag_rad: float) -> float:
    """Return where the drive's own lag reaches so much; half the control rate if nowhere.

    A speed loop can oscillate between lags of 90 and 270 degrees, not between 270 and 450, and so
    on: the plant's phase, within 90 degrees either way, has to make the sum an odd multiple of 180.
    """
    nyquist_hz = 0.5 / timing.control_tick_s
    if drive_lag_rad(timing, nyquist_hz) <= lag_rad:
        return nyquist_hz
    return float(
        brentq(
            lambda frequency_hz: drive_lag_rad(timing, frequency_hz) - lag_rad,
            1e-6 * nyquist_hz,
            nyquist_hz,
        )
    )


def lag_time_s(timing: DriveTiming) -> float:
    """Return the drive's lag at low frequencies as one time: the sum of all delays and lags."""
    frequency_hz = 1e-6 / timing.control_tick_s
    return drive_lag_rad(timing, frequency_hz) / (2 * math.pi * frequency_hz)


def lowest_integral_oscillation_hz(timing: DriveTiming, integral_time_s: float) -> float:
    """Return the lowest frequency at which a speed loop with integral part can oscillate.

    The controller's own lag counts too: 90 degrees are reached where the drive's lag equals
    atan(frequency x integral time). The axis is passive as above, the position not controlled.

    Args:
        timing: of the drive.
        integral_time_s: longer than :func:`lag_time_s`, else there is no such frequency
            (ValueError).
    """
    highest_hz = lowest_oscillation_frequency_hz(timing)

    def excess(frequency_hz: float) -> float:
        lead = math.atan(2 * math.pi * frequency_hz * integral_time_s)
        return drive_lag_rad(timing, frequency_hz) - lead

    return float(brentq(excess, 1e-4 * highest_hz, highest_hz))
