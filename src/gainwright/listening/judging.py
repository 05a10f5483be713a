"""The verdict on a recording: thresholds, onset or none, and the reason."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
import numpy.typing as npt

from gainwright.listening.band import Band
from gainwright.listening.blocks import amplitude_blocks
from gainwright.listening.calibration import (
    LEAST_THRESHOLD_PER_UNIT,
    Threshold,
    Thresholds,
    given_thresholds,
    stated_quiet_part,
    threshold_from,
)
from gainwright.listening.evidence import missing_evidence
from gainwright.listening.grown import (
    STEADY_ABOVE,
    Grown,
    Search,
    find_grown,
    first_of_run,
    largest_torque,
    own_windows,
    window_spectra,
)
from gainwright.listening.growth import Growth
from gainwright.listening.motion import Motion, motion_of
from gainwright.listening.options import ListenOptions
from gainwright.listening.reference import QuietPart, windows_of
from gainwright.listening.steady import SteadyLine, find_steady
from gainwright.recording.recording import Recording

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

OTHER_SPEED = 1.5
"""A line that keeps its frequency while the speed changes by this factor is not tied to it."""
LARGE_TORQUE = 0.3
"""Share of the largest ordinary torque from which a line is no hum from outside."""


class Verdict(Enum):
    """What a recording lets one say."""

    ONSET = "onset"
    QUIET = "quiet"
    NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Judgement:
    """What was found before the exported detector runs."""

    thresholds: Thresholds
    grown: Grown | None
    """Onset with thresholds from a quiet part."""
    missing: tuple[str, ...]
    """Why the recording cannot be called quiet; empty where it can."""
    motion: Motion


def judge(
    recording: Recording,
    band: Band,
    options: ListenOptions,
    torque: FloatArray,
    speed_error: FloatArray,
) -> Judgement:
    """Find thresholds and, unless the burst threshold was given, onset by growth.

    Args:
        torque, speed_error: band-passed, per unit, shape (samples,).

    Raises:
        InputError: thresholds or a quiet part that do not fit the recording.
    """
    given = given_thresholds(recording, options)
    stated = stated_quiet_part(recording, band, options)
    motion = motion_of(recording, band, torque)
    missing = missing_evidence(recording, band, motion)
    search = _search(recording, band, options, torque, motion, stated)
    everything = np.ones(len(search.windows.moving), dtype=bool)
    grown = None
    if "burst_per_unit" in given:
        quiet = stated or search.windows.choose(everything)
    else:
        grown, reasons = _oscillation(search)
        missing += reasons
        usual = search.threshold_of(everything)
        quiet = grown.quiet if grown else usual[1] if usual else None
    missing += _too_little(quiet, given, search)
    thresholds = _thresholds(band, options, given, quiet, grown, torque, speed_error)
    return Judgement(thresholds, grown, tuple(missing), motion)


def _search(
    recording: Recording,
    band: Band,
    options: ListenOptions,
    torque: FloatArray,
    motion: Motion,
    stated: QuietPart | None,
) -> Search:
    # Before the filter has settled the signal is the recording's beginning, not the axis.
    settled = torque.copy()
    settled[: round(band.settling_s * band.sample_rate_hz)] = 0.0
    blocks = amplitude_blocks(settled, band.burst_block_samples, band.sample_rate_hz)
    windows = windows_of(blocks, band, motion, options.quiet_seconds, recording.duration_s)

    def threshold_of(allowed: Mask) -> tuple[float, QuietPart] | None:
        quiet = stated or windows.choose(allowed)
        if quiet is None:
            return None
        return threshold_from(torque, band.burst_block_samples, band, quiet, options), quiet

    spectra = window_spectra(settled, band, windows)
    return Search(
        settled, recording.torque_per_unit, blocks, band, motion, windows, spectra, threshold_of
    )


def _oscillation(search: Search) -> tuple[Grown | None, list[str]]:
    """Return the first onset, or why something that was seen leaves the question open."""
    grown, uncompared = find_grown(search)
    if grown is not None:
        return grown, []
    held, steady = _held(search)
    if held is not None:
        return held, []
    reasons = []
    if uncompared is not None:
        reasons.append(_words(uncompared))
    if steady is not None:
        reasons.append(
            f"a line near {steady.frequency_hz:.4g} Hz makes up the torque from "
            f"{steady.from_s:.3g} s to {steady.to_s:.3g} s without having been seen to grow: an "
            "oscillation, or something from outside"
        )
    return None, reasons


def _words(growth: Growth) -> str:
    return (
        f"a line near {growth.frequency_hz:.4g} Hz grew {growth.factor:.2g} times from "
        f"{growth.from_s:.3g} s to {growth.to_s:.3g} s, but nothing else in the recording compares "
        "with it: no ordinary motion at a similar speed"
    )


def _held(search: Search) -> tuple[Grown | None, SteadyLine | None]:
    """Return onset by a line that stays at any speed, or the first line that cannot be told."""
    band, open_question = search.band, None
    for line in find_steady(search.torque, band.sample_rate_hz, band.lowest_oscillation_hz, 0.0):
        own = own_windows(search, line.frequency_hz, line.from_s, line.to_s)
        reference = search.threshold_of(~own)
        if reference is None:
            if line.amplitude > LARGE_TORQUE * largest_torque(
                search.whole_torque, line.from_s, search.blocks
            ):
                open_question = open_question or line
            continue
        threshold, quiet = reference
        if line.amplitude < STEADY_ABOVE * threshold:
            continue
        if _tied_to_nothing(search, line):
            blocks = search.blocks
            strong = (blocks.values >= threshold) & (blocks.starts_s >= band.settling_s)
            found = np.flatnonzero(strong & (blocks.starts_s >= line.from_s))
            if len(found):
                burst_s = first_of_run(search, strong, int(found[0]), line.frequency_hz)
                return Grown(burst_s, line, threshold, quiet), None
        open_question = open_question or line
    return None, open_question


def _tied_to_nothing(search: Search, line: SteadyLine) -> bool:
    """Whether neither the speed nor a hum from outside explains a line."""
    if search.motion.speed is None:
        return False
    rate_hz = search.band.sample_rate_hz
    span = slice(round(line.from_s * rate_hz), round(line.to_s * rate_hz))
    low, high = np.quantile(search.motion.speed[span], (0.05, 0.95))
    large = line.amplitude > LARGE_TORQUE * largest_torque(
        search.whole_torque, line.from_s, search.blocks
    )
    return bool(high > OTHER_SPEED * low and large)


def _too_little(quiet: QuietPart | None, given: dict[str, float], search: Search) -> list[str]:
    if quiet is None or not quiet.moving:
        if len(given) == 2:
            return []
        return [
            "too little ordinary motion for a quiet part: fewer than three windows of "
            f"{search.windows.seconds:.3g} s in which the axis moves"
        ]
    if quiet.found and not given and _inaudible(search):
        return [
            "nothing in the band is as large as the detector resolves: state with --torque-base "
            "which torque is one per unit"
        ]
    return []


def _inaudible(search: Search) -> bool:
    return float(search.blocks.values.max(initial=0.0)) < LEAST_THRESHOLD_PER_UNIT


def _thresholds(
    band: Band,
    options: ListenOptions,
    given: dict[str, float],
    quiet: QuietPart | None,
    grown: Grown | None,
    torque: FloatArray,
    speed_error: FloatArray,
) -> Thresholds:
    def threshold(field: str, signal: FloatArray, block_samples: int) -> Threshold:
        if field in given:
            return Threshold(given[field], calibrated=False)
        part = quiet or QuietPart(band.settling_s, len(signal) / band.sample_rate_hz)
        return Threshold(threshold_from(signal, block_samples, band, part, options), True)

    burst = threshold("burst_per_unit", torque, band.burst_block_samples)
    if grown is not None:
        burst = Threshold(grown.threshold, calibrated=True)
    silence = threshold("silence_per_unit", speed_error, band.ring_block_samples)
    return Thresholds(burst, silence, None if len(given) == 2 else quiet)
