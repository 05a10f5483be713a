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


def check_stated_rate(table: Table, name: str, from_times_hz: float, stated_hz: float) -> None:
    """Refuse a stated sample rate that the sample times contradict.

    Raises:
        InputError: they differ by more than one percent.
    """
    if abs(from_times_hz - stated_hz) > RATE_TOLERANCE * stated_hz:
        raise input_error(
            table.file,
            f"{name} and --rate",
            f"{from_times_hz:.6g} Hz by the sample times, {stated_hz:.6g} Hz stated",
            "the same rate",
            "leave out one of the two, or give the unit of the times with --time-unit",
        )


def _not_uniform(table: Table, name: str, sample: int, found: str, expected: str) -> InputError:
    return input_error(
        table.file,
        table.place(name, sample),
        found,
        expected,
        "resample the recording, cut it, or state the rate with --rate if only the times are bad",
    )
