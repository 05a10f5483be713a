"""Thresholds: given, or found in a quiet part of the recording."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gainwright.detector.design import LEAST_RAW_AMPLITUDE
from gainwright.detector.settings import HEADROOM_BITS
from gainwright.errors import InputError, Problem, input_error
from gainwright.fixed.qformat import SIGNAL, SIGNAL_LIMIT
from gainwright.listening.band import Band
from gainwright.listening.blocks import amplitude_blocks
from gainwright.listening.options import OPTIONS, ListenOptions
from gainwright.listening.reference import DEFAULT_SECONDS, FEWEST_PERIODS, QuietPart
from gainwright.recording.recording import Recording

LEAST_THRESHOLD_PER_UNIT = SIGNAL.to_float(LEAST_RAW_AMPLITUDE << HEADROOM_BITS)
"""The detector holds no lower threshold."""
_LARGEST_THRESHOLD_PER_UNIT = SIGNAL.to_float(SIGNAL_LIMIT)


@dataclass(frozen=True, slots=True)
class Threshold:
    amplitude_per_unit: float
    """Amplitude of the sine that has level 256."""
    calibrated: bool
    """Found in the quiet part; otherwise given."""


@dataclass(frozen=True, slots=True)
class Thresholds:
    burst: Threshold
    silence: Threshold
    quiet: QuietPart | None
    """Where thresholds were found; None if both were given, or no part could serve."""


def given_thresholds(recording: Recording, options: ListenOptions) -> dict[str, float]:
    """Return the thresholds that were given, by field of the options.

    Raises:
        InputError: one is below what the detector resolves.
    """
    found = {
        field: getattr(options, field)
        for field in ("burst_per_unit", "silence_per_unit")
        if getattr(options, field) is not None
    }
    problems = [
        Problem(
            recording.file,
            OPTIONS[field],
            f"{value:.3g} per unit",
            f"at least {LEAST_THRESHOLD_PER_UNIT:.3g} per unit, what the detector resolves",
            "give a higher threshold",
        )
        for field, value in found.items()
        if value < LEAST_THRESHOLD_PER_UNIT
    ]
    if problems:
        raise InputError(problems)
    return found


def threshold_from(
    signal: npt.NDArray[np.float64],
    block_samples: int,
    band: Band,
    quiet: QuietPart,
    options: ListenOptions,
) -> float:
    """Return the threshold per unit: the factor times the strongest whole block of the quiet part.

    Args:
        signal: band-passed, per unit, shape (samples,).
    """
    blocks = amplitude_blocks(signal, block_samples, band.sample_rate_hz)
    within = blocks.values[blocks.within(quiet.from_s, quiet.to_s)]
    wanted = options.quiet_factor * float(np.max(within, initial=0.0))
    return min(max(wanted, LEAST_THRESHOLD_PER_UNIT), _LARGEST_THRESHOLD_PER_UNIT)


def stated_quiet_part(recording: Recording, band: Band, options: ListenOptions) -> QuietPart | None:
    """Return the quiet part that the user stated; None if nothing was said.

    Raises:
        InputError: it is too short, or beyond the end of the recording.
    """
    if options.quiet_from_s is None and options.quiet_seconds is None:
        return None
    from_s = options.quiet_from_s or 0.0
    seconds = options.quiet_seconds or DEFAULT_SECONDS
    quiet = QuietPart(max(from_s, band.settling_s), from_s + seconds)
    if quiet.to_s >= recording.duration_s:
        raise input_error(
            recording.file,
            f"{OPTIONS['quiet_from_s']} and {OPTIONS['quiet_seconds']}",
            f"a quiet part up to {quiet.to_s:.6g} s in a recording of {recording.duration_s:.6g} s",
            "a quiet part that ends before the recording does",
            "shorten it, or leave both out: the recording's own quiet part is then sought",
        )
    needed_s = FEWEST_PERIODS / band.lowest_oscillation_hz
    if quiet.to_s - quiet.from_s < needed_s:
        settles = f" (the filter settles until {band.settling_s:.3g} s)"
        least_s = max(band.settling_s - from_s, 0.0) + needed_s
        raise input_error(
            recording.file,
            OPTIONS["quiet_seconds"],
            f"{seconds:.6g} s from {from_s:.6g} s on{settles if quiet.from_s > from_s else ''}",
            f"{FEWEST_PERIODS} periods of {band.lowest_oscillation_hz:.4g} Hz, the lowest "
            "frequency at which the loop can oscillate",
            f"state at least {OPTIONS['quiet_seconds']} {least_s * 1.01:.3g}",
        )
    return quiet
