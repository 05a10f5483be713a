"""Listens to a recording with the detector: the pure part of ``gainwright listen``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gainwright.detector.design import level_settings
from gainwright.detector.settings import DetectorSettings
from gainwright.fixed.scaling import signals_per_unit
from gainwright.listening.band import Band, band_of
from gainwright.listening.blocks import Blocks, level_blocks
from gainwright.listening.calibration import Thresholds
from gainwright.listening.grown import Grown
from gainwright.listening.growth import Growth
from gainwright.listening.judging import Judgement, Verdict, judge
from gainwright.listening.onset import (
    Onset,
    OnsetCause,
    earliest,
    first_burst,
    lasting_ringing,
)
from gainwright.listening.options import ListenOptions, check_options
from gainwright.listening.spectrum import onset_frequency_hz
from gainwright.recording.recording import Recording

Words = npt.NDArray[np.int32]
RunDetector = Callable[[DetectorSettings, Words, Words], tuple[Words, Words]]
"""Settings, torque and speed error (raw Q4.24) to ring and burst level after every sample."""


@dataclass(frozen=True, slots=True)
class Listening:
    """What was seen, and everything that led to it."""

    recording: Recording
    options: ListenOptions
    band: Band
    thresholds: Thresholds
    settings: DetectorSettings
    torque: npt.NDArray[np.float64]
    """Band-passed, per unit of rated torque, shape (samples,)."""
    speed_error: npt.NDArray[np.float64]
    """Band-passed, per unit of top speed, shape (samples,)."""
    burst: Blocks
    """Levels of the torque, 256 = threshold."""
    ring: Blocks
    """Levels of the speed error, 256 = threshold."""
    onset: Onset | None
    onset_frequency_hz: float | None
    """None where there is no onset."""
    verdict: Verdict
    reasons: tuple[str, ...]
    """Why, in sentences without capital and full stop; at least one."""
    grown: Grown | None
    """The oscillation behind an onset that was judged by a quiet part."""


def listen(recording: Recording, options: ListenOptions, run_detector: RunDetector) -> Listening:
    """Find the band and the thresholds, run the detector, and judge what it says.

    Where the burst threshold was given, its levels decide alone, as in a trial. Where it comes from
    a quiet part, a burst counts if a line grew to it (:mod:`gainwright.listening.grown`).

    Args:
        run_detector: the detector from its reset state; the exported C or its Python reference.

    Raises:
        InputError: options that are wrong, or that do not fit the recording.
    """
    check_options(options)
    band = band_of(recording, options)
    words = recording.torque_raw(), recording.speed_error_raw()
    torque, speed_error = (band.filter(signals_per_unit(signal)) for signal in words)
    judgement = judge(recording, band, options, torque, speed_error)
    settings = _settings(band, judgement.thresholds)
    ring_levels, burst_levels = run_detector(settings, *words)
    rate_hz = recording.sample_rate_hz
    burst = level_blocks(burst_levels, settings.burst.block_ticks, rate_hz)
    ring = level_blocks(ring_levels, settings.ring.block_ticks, rate_hz)
    onset = _onset(judgement, options, burst, ring, band)
    frequency_hz = None
    if onset is not None:
        by_torque = onset.cause is OnsetCause.BURST or judgement.grown is not None
        frequency_hz = onset_frequency_hz(
            torque if by_torque else speed_error, rate_hz, onset.time_s, band.lowest_oscillation_hz
        )
    return Listening(
        recording=recording,
        options=options,
        band=band,
        thresholds=judgement.thresholds,
        settings=settings,
        torque=torque,
        speed_error=speed_error,
        burst=burst,
        ring=ring,
        onset=onset,
        onset_frequency_hz=frequency_hz,
        verdict=_verdict(judgement, onset),
        reasons=_reasons(judgement, options, onset),
        grown=judgement.grown,
    )


def _onset(
    judgement: Judgement, options: ListenOptions, burst: Blocks, ring: Blocks, band: Band
) -> Onset | None:
    grown, thresholds = judgement.grown, judgement.thresholds
    by_burst = by_ringing = None
    if grown is not None:
        grew = isinstance(grown.line, Growth)
        by_burst = Onset(grown.burst_s, OnsetCause.BURST if grew else OnsetCause.RINGING)
    elif not thresholds.burst.calibrated:
        by_burst = first_burst(burst, band.settling_s)
    if not thresholds.silence.calibrated:
        by_ringing = lasting_ringing(ring, band.settling_s, options.ringing_seconds)
    return earliest(by_burst, by_ringing)


def _verdict(judgement: Judgement, onset: Onset | None) -> Verdict:
    if onset is not None:
        return Verdict.ONSET
    return Verdict.NOT_KNOWN if judgement.missing else Verdict.QUIET


def _reasons(judgement: Judgement, options: ListenOptions, onset: Onset | None) -> tuple[str, ...]:
    if onset is None:
        if judgement.missing:
            return judgement.missing
        if judgement.thresholds.burst.calibrated:
            return ("the axis moves, and no line in the band grows to a burst",)
        return ("the axis moves, and the levels stay below the thresholds",)
    grown = judgement.grown
    if grown is not None and onset.time_s == grown.burst_s:
        line = grown.line
        times = f"from {line.from_s:.4g} s to {line.to_s:.4g} s"
        if isinstance(line, Growth):
            return (f"a line near {line.frequency_hz:.4g} Hz grew {line.factor:.3g} times {times}",)
        return (
            f"a line near {line.frequency_hz:.4g} Hz was there at once and stayed {times}, "
            "whatever the speed",
        )
    if onset.cause is OnsetCause.BURST:
        return ("two blocks of the torque in succession at or above the threshold that was given",)
    return (f"the speed error was not silent for {options.ringing_seconds:g} s",)


def _settings(band: Band, thresholds: Thresholds) -> DetectorSettings:
    return DetectorSettings(
        quantised=band.quantised,
        corner_hz=band.corner_hz,
        ring=level_settings(band.ring_block_samples, thresholds.silence.amplitude_per_unit),
        burst=level_settings(band.burst_block_samples, thresholds.burst.amplitude_per_unit),
    )
