"""Thresholds: given, or found in a part of the recording that is known to be quiet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gainwright.detector.design import LEAST_RAW_AMPLITUDE
from gainwright.detector.settings import HEADROOM_BITS
from gainwright.errors import InputError, Problem, input_error
from gainwright.fixed.qformat import SIGNAL
from gainwright.listening.band import Band
from gainwright.listening.blocks import amplitude_blocks
from gainwright.listening.options import OPTIONS, ListenOptions
from gainwright.recording.recording import Recording

FEWEST_PERIODS = 40
"""The quiet part holds this many periods of the lowest oscillation frequency, or more."""
LEAST_THRESHOLD_PER_UNIT = SIGNAL.to_float(LEAST_RAW_AMPLITUDE << HEADROOM_BITS)
"""The detector holds no lower threshold."""


@dataclass(frozen=True, slots=True)
class Threshold:
    amplitude_per_unit: float
    """Amplitude of the sine that has level 256."""
    calibrated: bool
    """Found in the quiet part; otherwise given."""


@dataclass(frozen=True, slots=True)
class QuietPart:
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class Thresholds:
    burst: Threshold
    silence: Threshold
    quiet: QuietPart | None
    """Where thresholds were found; None if both were given."""


def find_thresholds(
    recording: Recording,
    band: Band,
    options: ListenOptions,
    torque: npt.NDArray[np.float64],
    speed_error: npt.NDArray[np.float64],
) -> Thresholds:
    """Return both thresholds.

    Args:
        torque: band-passed torque per unit, shape (samples,).
        speed_error: band-passed speed error per unit, shape (samples,).

    Raises:
        InputError: the quiet part is too short, beyond the end of the recording, or holds nothing;
            or a given threshold is below what the detector resolves.
    """
    both_given = options.burst_per_unit is not None and options.silence_per_unit is not None
    quiet = None if both_given else _quiet_part(recording, band, options)
    wanted = (
        ("burst_per_unit", recording.torque_name, torque, band.burst_block_samples),
        ("silence_per_unit", recording.speed_error_name, speed_error, band.ring_block_samples),
    )
    found, problems = [], []
    for field, channel, signal, length in wanted:
        given = getattr(options, field)
        if given is not None or quiet is None:
            threshold = Threshold(given, calibrated=False)
        else:
            blocks = amplitude_blocks(signal, length, band.sample_rate_hz)
            loudest = float(np.max(blocks.values[blocks.within(quiet.from_s, quiet.to_s)]))
            threshold = Threshold(options.quiet_factor * loudest, calibrated=True)
        if threshold.amplitude_per_unit < LEAST_THRESHOLD_PER_UNIT:
            problems.append(_too_low(recording, field, channel, threshold))
        found.append(threshold)
    if problems:
        raise InputError(problems)
    return Thresholds(found[0], found[1], quiet)


def _quiet_part(recording: Recording, band: Band, options: ListenOptions) -> QuietPart:
    end_s = options.quiet_from_s + options.quiet_seconds
    quiet = QuietPart(max(options.quiet_from_s, band.settling_s), end_s)
    needed_s = FEWEST_PERIODS / band.lowest_oscillation_hz
    if end_s >= recording.duration_s:
        raise input_error(
            recording.file,
            f"{OPTIONS['quiet_from_s']} and {OPTIONS['quiet_seconds']}",
            f"a quiet part up to {end_s:.6g} s in a recording of {recording.duration_s:.6g} s",
            "a quiet part that ends before the recording does",
            "shorten the quiet part, or give both thresholds with "
            f"{OPTIONS['burst_per_unit']} and {OPTIONS['silence_per_unit']}",
        )
    if quiet.to_s - quiet.from_s < needed_s:
        settling = (
            ""
            if quiet.from_s == options.quiet_from_s
            else (f" (the filter settles until {band.settling_s:.3g} s)")
        )
        least_s = max(band.settling_s - options.quiet_from_s, 0.0) + needed_s
        raise input_error(
            recording.file,
            OPTIONS["quiet_seconds"],
            f"{options.quiet_seconds:.6g} s from {options.quiet_from_s:.6g} s on{settling}",
            f"{FEWEST_PERIODS} periods of {band.lowest_oscillation_hz:.4g} Hz, the lowest "
            "frequency at which the loop can oscillate",
            f"state at least {OPTIONS['quiet_seconds']} {least_s * 1.01:.3g}",
        )
    return quiet


def _too_low(recording: Recording, field: str, channel: str, threshold: Threshold) -> Problem:
    option = OPTIONS[field]
    base = "--torque-base" if field == "burst_per_unit" else "--speed-base"
    found = f"{threshold.amplitude_per_unit:.3g} per unit"
    expected = f"at least {LEAST_THRESHOLD_PER_UNIT:.3g} per unit, what the detector resolves"
    if not threshold.calibrated:
        return Problem(recording.file, option, found, expected, "give a higher threshold")
    return Problem(
        recording.file,
        f"threshold from the quiet part of {channel}",
        f"{found}: nothing to be heard there",
        expected,
        f"choose a part in which the axis moves with {OPTIONS['quiet_from_s']}, state what is one "
        f"per unit with {base}, or give the threshold with {option}",
    )
