"""What a user may say about how to listen to a recording."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gainwright.errors import InputError, Problem
from gainwright.fixed.qformat import SIGNAL, SIGNAL_LIMIT

# Command-line options by the fields of ListenOptions, for messages.
OPTIONS = {
    "band_from_hz": "--band-from",
    "control_tick_s": "--control-tick",
    "delay_ticks": "--delay-ticks",
    "current_loop_s": "--current-loop-s",
    "speed_filter_s": "--speed-filter-s",
    "burst_per_unit": "--burst",
    "silence_per_unit": "--silence",
    "quiet_from_s": "--quiet-from",
    "quiet_seconds": "--quiet-seconds",
    "quiet_factor": "--quiet-factor",
    "ringing_seconds": "--ringing-seconds",
}
_TIMING = ("control_tick_s", "delay_ticks", "current_loop_s", "speed_filter_s")
_ABOVE_ZERO = (
    "band_from_hz",
    "control_tick_s",
    "burst_per_unit",
    "silence_per_unit",
    "quiet_seconds",
    "ringing_seconds",
)
_FROM_ZERO = ("current_loop_s", "speed_filter_s", "quiet_from_s")
_LARGEST_PER_UNIT = SIGNAL.to_float(SIGNAL_LIMIT)


@dataclass(frozen=True, slots=True)
class ListenOptions:
    """How to listen; None is "not said".

    The band is given by the drive's timing (:mod:`gainwright.detector.timing`), or directly. A
    threshold is given, or found in the quiet part: one that the user states, or the recording's own
    (:mod:`gainwright.listening.reference`).
    """

    band_from_hz: float | None = None
    """-3 dB frequency of the high-pass; in place of the drive's timing."""
    control_tick_s: float | None = None
    """The drive's control tick; one sample of the recording if not said."""
    delay_ticks: int | None = None
    """Whole ticks from reading the position to applying the torque; 1 if not said."""
    current_loop_s: float | None = None
    """Time constant of the current loop; 0 if not said."""
    speed_filter_s: float | None = None
    """Time constant of the low-pass on the measured speed; 0 if not said."""
    burst_per_unit: float | None = None
    """Amplitude of torque oscillation that counts as a burst, per unit of rated torque."""
    silence_per_unit: float | None = None
    """Amplitude of the speed error that counts as silence, per unit of top speed."""
    quiet_from_s: float | None = None
    """Start of a quiet part that the user knows; 0 if only its length is said."""
    quiet_seconds: float | None = None
    """Its length; 1 s if only its start is said. Both left out: the recording's own is sought."""
    quiet_factor: float = 2.0
    """Threshold as a multiple of the largest amplitude in the quiet part.

    In energy this is a factor of four. Blocks of noise scatter by far less than that (energy
    detector, Urkowitz 1967: chi-squared with one degree of freedom per independent sample). On the
    measured recordings that the tests use, the strongest torque block without onset stayed below
    1.3 times its calibration, while an onset passed 2 within a few hundredths of a second.
    """
    ringing_seconds: float = 3.0
    """Ringing without a silent block for this long is onset, as a trial's listening time-out."""


def check_options(options: ListenOptions) -> None:
    """Refuse options that no recording could make sense of.

    Raises:
        InputError: every option that is wrong, in one error.
    """
    problems = [
        *_signs(options),
        *_delay(options),
        *_band_twice(options),
        *_largest(options),
        *_factor(options),
    ]
    if problems:
        raise InputError(problems)


def _signs(options: ListenOptions) -> list[Problem]:
    problems = []
    for field in (*_ABOVE_ZERO, *_FROM_ZERO):
        value = getattr(options, field)
        zero = field in _FROM_ZERO
        if value is not None and not (0.0 < value < math.inf or (zero and value == 0.0)):
            expected = "a number, 0 or above" if zero else "a number above 0"
            problems.append(_problem(field, f"{value:g}", expected, "correct it or leave it out"))
    return problems


def _delay(options: ListenOptions) -> list[Problem]:
    if options.delay_ticks is None or 1 <= options.delay_ticks <= 100:
        return []
    remedy = "state the whole ticks from reading the position to applying the torque"
    return [_problem("delay_ticks", f"{options.delay_ticks}", "1 to 100", remedy)]


def _band_twice(options: ListenOptions) -> list[Problem]:
    also = [OPTIONS[field] for field in _TIMING if getattr(options, field) is not None]
    if options.band_from_hz is None or not also:
        return []
    expected = "the band, or the drive's timing from which it follows"
    return [_problem("band_from_hz", f"together with {', '.join(also)}", expected, "leave one out")]


def _largest(options: ListenOptions) -> list[Problem]:
    problems = []
    for field in ("burst_per_unit", "silence_per_unit"):
        value = getattr(options, field)
        if value is not None and _LARGEST_PER_UNIT < value < math.inf:
            remedy = "thresholds are per unit of rated torque or top speed; correct it"
            problems.append(_problem(field, f"{value:g}", "below 16 per unit", remedy))
    return problems


def _factor(options: ListenOptions) -> list[Problem]:
    # A level goes up to 16 times the threshold's amplitude, so a larger factor makes no sense.
    if 1.0 < options.quiet_factor <= 16.0:
        return []
    expected = "above 1, up to 16"
    return [_problem("quiet_factor", f"{options.quiet_factor:g}", expected, "2 is the default")]


def _problem(field: str, found: str, expected: str, remedy: str) -> Problem:
    return Problem("options", OPTIONS[field], found, expected, remedy)
