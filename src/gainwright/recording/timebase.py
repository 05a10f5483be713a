"""The sample rate of a recording from its sample times."""

from __future__ import annotations

import numpy as np

from gainwright.errors import InputError, input_error
from gainwright.recording.recording import FloatArray
from gainwright.recording.table import Table

STEP_TOLERANCE = 0.1
"""A step may differ from the median step by this part; a lost sample differs by all of it."""
RATE_TOLERANCE = 0.01
"""A stated rate and the sample times may differ by this part."""
SLOWEST_HZ = 20.0
"""Slower recordings of a drive are rather faster ones with their times in another unit."""
TIME_UNIT = "--time-unit"
# Ending of a name (brackets left out), the unit in seconds as an option takes it, in words.
_UNITS = (
    ("_ms", "0.001", "milliseconds"),
    ("[ms", "0.001", "milliseconds"),
    ("(ms", "0.001", "milliseconds"),
    ("_us", "1e-6", "microseconds"),
    ("[us", "1e-6", "microseconds"),
    ("(us", "1e-6", "microseconds"),
)


def rate_from_times_hz(table: Table, name: str, times_s: FloatArray) -> float:
    """Return the sample rate as the mean over the whole recording.

    Raises:
        InputError: times that do not rise, or not in uniform steps.
    """
    steps_s = np.diff(times_s)
    median_s = float(np.median(steps_s))
    if not median_s > 0.0:
        index = int(np.argmin(steps_s > 0.0))
        found = f"{times_s[index]:.9g} s is followed by {times_s[index + 1]:.9g} s"
        raise _not_uniform(table, name, index + 1, found, "times that rise")
    uneven = np.abs(steps_s - median_s) > STEP_TOLERANCE * median_s
    if uneven.any():
        index = int(np.argmax(uneven))
        found = (
            f"a step of {steps_s[index]:.6g} s among steps of {median_s:.6g} s "
            f"({int(uneven.sum())} such steps)"
        )
        expected = f"uniform steps, each within {STEP_TOLERANCE:.0%}"
        raise _not_uniform(table, name, index + 1, found, expected)
    return float((len(times_s) - 1) / (times_s[-1] - times_s[0]))


def check_unit(table: Table, name: str, rate_hz: float) -> None:
    """Refuse sample times whose unit is no second, by their name or by the rate they give.

    Raises:
        InputError: the name ends with another unit, or the rate is below SLOWEST_HZ.
    """
    for ending, unit, words in _UNITS:
        if name.lower().rstrip(")]} ").endswith(ending):
            found = f"sample times in {words} by their name, read as seconds"
            raise _unit_error(table, name, found, f"state {TIME_UNIT} {unit}")
    if rate_hz < SLOWEST_HZ:
        raise _unit_error(
            table,
            name,
            f"{rate_hz:.6g} Hz if the sample times are seconds",
            f"state their unit: {TIME_UNIT} 0.001 for milliseconds, 1e-6 for microseconds, 1 if "
            "they are seconds indeed",
        )


def _unit_error(table: Table, name: str, found: str, remedy: str) -> InputError:
    return input_error(table.file, name, found, f"at least {SLOWEST_HZ:g} Hz, and seconds", remedy)


def check_stated_rate(table: Table, name: str, from_times_hz: float, stated_hz: float) -> None:
    """Refuse a stated sample rate that the sample times contradict.

    Raises:
        InputError: they differ by more than one percent.
    """
    if abs(from_times_hz - stated_hz) <= RATE_TOLERANCE * stated_hz:
        return
    remedy = f"leave out one of the two, or give the unit of the times with {TIME_UNIT}"
    for _, unit, words in _UNITS:
        if abs(from_times_hz / float(unit) - stated_hz) <= RATE_TOLERANCE * stated_hz:
            remedy = f"the sample times are {words}: state {TIME_UNIT} {unit}"
    raise input_error(
        table.file,
        f"{name} and --rate",
        f"{from_times_hz:.6g} Hz by the sample times, {stated_hz:.6g} Hz stated",
        "the same rate",
        remedy,
    )


def _not_uniform(table: Table, name: str, sample: int, found: str, expected: str) -> InputError:
    return input_error(
        table.file,
        table.place(name, sample),
        found,
        expected,
        "resample the recording, cut it, or state the rate with --rate if only the times are bad",
    )
