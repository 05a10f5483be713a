"""Reads a recording: chosen channels, checked, scaled, and combined to torque and speed error."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from gainwright.described.nearest import nearest
from gainwright.errors import InputError, Problem, input_error
from gainwright.fixed.qformat import SIGNAL, SIGNAL_LIMIT
from gainwright.recording.open_table import open_table
from gainwright.recording.recording import ChannelChoice, FloatArray, Recording
from gainwright.recording.table import Table, describe_names, describe_shape, is_vector
from gainwright.recording.timebase import check_stated_rate, check_unit, rate_from_times_hz

TIME_NAME = "time_s"
FEWEST_SAMPLES = 100
_LARGEST_PER_UNIT = SIGNAL.to_float(SIGNAL_LIMIT)

# Command-line options by the fields of ChannelChoice, for messages.
OPTIONS = {
    "torque": "--torque",
    "speed_error": "--speed-error",
    "speed": "--speed",
    "speed_reference": "--speed-reference",
    "position": "--position",
    "position_reference": "--position-reference",
    "torque_base": "--torque-base",
    "speed_base": "--speed-base",
    "time": "--time",
    "time_unit_s": "--time-unit",
    "sample_rate_hz": "--rate",
}
_KINDS = {"U": "text", "S": "text", "O": "objects", "V": "a structure", "c": "complex numbers"}
_CHANNELS = ("torque", "speed_error", "speed", "speed_reference", "position", "position_reference")


def read_recording(path: str | Path, choice: ChannelChoice) -> Recording:
    """Read a CSV, ``.npz`` or MATLAB recording.

    Raises:
        InputError: anything that keeps the file or the choice from being used, with every channel
            that is wrong named at once.
    """
    _check_choice(path, choice)
    table = open_table(path)
    channels = _read_channels(table, choice)
    rate_hz = _sample_rate_hz(table, choice, len(channels["torque"]))
    speed_error, speed_error_name = _speed_error(channels, choice, rate_hz)
    speed = _speed(channels, rate_hz)
    torque = channels["torque"] / choice.torque_base
    speed_error = speed_error / choice.speed_base
    _check_range(table, torque, "torque", "torque_base")
    _check_range(table, speed_error, "speed error", "speed_base")
    return Recording(
        str(path),
        rate_hz,
        torque,
        speed_error,
        choice.torque,
        speed_error_name,
        None if speed is None else speed / choice.speed_base,
    )


def _check_choice(path: str | Path, choice: ChannelChoice) -> None:
    ways = [way for way in ("speed", "position") if getattr(choice, way)]
    problems = []
    if len(ways) > 1 or not (ways or choice.speed_error):
        found = " and ".join(OPTIONS[way] for way in ways) or "none of them"
        problems.append(
            Problem(
                str(path),
                "speed error",
                found,
                "--speed-error, --speed or --position",
                "name the channel that holds it; beside --speed-error one of the others may tell "
                "how the axis moves",
            )
        )
    for reference, of in (("speed_reference", "speed"), ("position_reference", "position")):
        if getattr(choice, reference) and not getattr(choice, of):
            problems.append(
                Problem(
                    str(path),
                    OPTIONS[reference],
                    f"a reference without {OPTIONS[of]}",
                    "both or none",
                    f"name the {of} with {OPTIONS[of]}",
                )
            )
    for field in ("torque_base", "speed_base", "time_unit_s", "sample_rate_hz"):
        value = getattr(choice, field)
        if value is not None and not 0.0 < value < math.inf:
            problems.append(
                Problem(str(path), OPTIONS[field], f"{value}", "a number above 0", "correct it")
            )
    if problems:
        raise InputError(problems)


def _read_channels(table: Table, choice: ChannelChoice) -> dict[str, FloatArray]:
    """Return the chosen channels by field of the choice; all of one length, all finite."""
    channels: dict[str, FloatArray] = {}
    problems: list[Problem] = []
    for field in _CHANNELS:
        if name := getattr(choice, field):
            try:
                channels[field] = _read_channel(table, name, OPTIONS[field])
            except InputError as error:
                problems += [problem for problem in error.problems if problem not in problems]
    if problems:
        raise InputError(problems)
    lengths = {field: len(values) for field, values in channels.items()}
    if len(set(lengths.values())) > 1:
        found = ", ".join(f"{getattr(choice, field)} has {n}" for field, n in lengths.items())
        raise input_error(
            table.file,
            "",
            found,
            "channels with the same number of samples",
            "choose channels of one measurement, recorded at one rate",
        )
    return channels


def _read_channel(table: Table, name: str, option: str) -> FloatArray:
    if name not in table.shapes:
        near = nearest(name, table.shapes)
        raise input_error(
            table.file,
            f"{option} {name}",
            "no such name in the file",
            f"one of: {describe_names(table.shapes)}",
            f"write {option} {near}" if near else "choose one of these names",
        )
    values = table.read(name)
    if values.dtype.kind not in "biuf":
        raise input_error(
            table.file,
            f"{option} {name}",
            _KINDS.get(values.dtype.kind, f"type {values.dtype}"),
            "a vector of real numbers",
            f"choose among: {describe_names(table.shapes)}",
        )
    if not is_vector(values.shape):
        raise input_error(
            table.file,
            f"{option} {name}",
            f"an array of {describe_shape(values.shape)}",
            "a vector: one channel, one number per sample",
            "store each channel under a name of its own",
        )
    if values.size < FEWEST_SAMPLES:
        raise input_error(
            table.file,
            f"{option} {name}",
            f"{values.size} samples",
            f"at least {FEWEST_SAMPLES}",
            "record for longer, or choose another channel",
        )
    vector = values.reshape(-1).astype(np.float64)
    _check_finite(table, name, vector)
    return vector


def _check_finite(table: Table, name: str, values: FloatArray) -> None:
    bad = ~np.isfinite(values)
    if bad.any():
        first = int(np.argmax(bad))
        raise input_error(
            table.file,
            table.place(name, first),
            f"{values[first]} ({int(bad.sum())} such samples)",
            "finite numbers throughout",
            "cut the recording to the part without gaps, or fill them",
        )


def _sample_rate_hz(table: Table, choice: ChannelChoice, samples: int) -> float:
    name, stated_hz = choice.time, choice.sample_rate_hz
    if name is None and TIME_NAME in table.shapes:
        name = TIME_NAME
    if name is None:
        if stated_hz is not None:
            return stated_hz
        raise input_error(
            table.file,
            "sample rate",
            f"no --rate, no --time, and no channel {TIME_NAME}",
            "one of them",
            f"state the rate, e.g. --rate 8000; names in the file: {describe_names(table.shapes)}",
        )
    if stated_hz is None:
        return _rate_by_times_hz(table, name, choice, samples)
    try:
        rate_hz = _rate_by_times_hz(table, name, choice, samples)
    except InputError:
        # Bad times that nobody asked for do no harm beside a stated rate.
        if choice.time is not None:
            raise
    else:
        check_stated_rate(table, name, rate_hz, stated_hz)
    return stated_hz


def _rate_by_times_hz(table: Table, name: str, choice: ChannelChoice, samples: int) -> float:
    times = _read_channel(table, name, OPTIONS["time"])
    if len(times) != samples:
        raise input_error(
            table.file,
            f"{OPTIONS['time']} {name}",
            f"{len(times)} times for {samples} samples",
            "one time per sample",
            "choose the times of this measurement, or state the rate with --rate",
        )
    rate_hz = rate_from_times_hz(table, name, times * (choice.time_unit_s or 1.0))
    if choice.time_unit_s is None and choice.sample_rate_hz is None:
        check_unit(table, name, rate_hz)
    return rate_hz


def _speed_error(
    channels: dict[str, FloatArray], choice: ChannelChoice, rate_hz: float
) -> tuple[FloatArray, str]:
    """Return reference less actual speed, and how it was made."""
    if "speed_error" in channels:
        return channels["speed_error"], str(choice.speed_error)
    kind = "speed" if "speed" in channels else "position"
    reference = channels.get(f"{kind}_reference", 0.0)
    error = reference - channels[kind]
    name = f"{getattr(choice, f'{kind}_reference') or '0'} - {getattr(choice, kind)}"
    if kind == "speed":
        return error, name
    # Backward difference; the sample before the first is not known and counts as equal to it.
    return np.diff(error, prepend=error[:1]) * rate_hz, f"difference of ({name}) over one sample"


def _speed(channels: dict[str, FloatArray], rate_hz: float) -> FloatArray | None:
    """Return the actual speed where a channel tells it."""
    if "speed" in channels:
        return channels["speed"]
    if "position" not in channels:
        return None
    return np.diff(channels["position"], prepend=channels["position"][:1]) * rate_hz


def _check_range(table: Table, per_unit: FloatArray, what: str, base: str) -> None:
    largest = float(np.max(np.abs(per_unit)))
    if largest > _LARGEST_PER_UNIT:
        raise input_error(
            table.file,
            what,
            f"up to {largest:.6g} per unit",
            "below 16 per unit, the range of the detector's signals",
            f"state with {OPTIONS[base]} which value of the channel is one per unit",
        )
