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
from gainwright.listening.calibration import Thresholds, find_thresholds
from gainwright.listening.onset import Onset, OnsetCause, find_onset
from gainwright.listening.options import ListenOptions, check_options
from gainwright.listening.spectrum import onset_frequency_hz
from gainwright.recording.recording import Recording

Words = npt.NDArray[np.int32]
RunDetector = Callable[[DetectorSettings, Words, Words], tuple[Words, Words]]
"""Settings, torque and speed error (raw Q4.24) to ring and burst level after every sample."""


@dataclass(frozen=True, slots=True)
class Listening:
    """What was heard, and everything that led to it."""

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


def listen(recording: Recording, options: ListenOptions, run_detector: RunDetector) -> Listening:
    """Find the band and the thresholds, run the detector, and judge its levels as a trial does.

    Args:
        run_detector: the detector from its reset state; the exported C or its Python reference.

    Raises:
        InputError: options that are wrong, or that do not fit the recording.
    """
    check_options(options)
    band = band_of(recording, options)
    words = recording.torque_raw(), recording.speed_error_raw()
    torque, speed_error = (band.filter(signals_per_unit(signal)) for signal in words)
    thresholds = find_thresholds(recording, band, options, torque, speed_error)
    settings = _settings(band, thresholds)
    ring_levels, burst_levels = run_detector(settings, *words)
    rate_hz = recording.sample_rate_hz
    burst = level_blocks(burst_levels, settings.burst.block_ticks, rate_hz)
    ring = level_blocks(ring_levels, settings.ring.block_ticks, rate_hz)
    onset = find_onset(burst, ring, band.settling_s, options.ringing_seconds)
    frequency_hz = None
    if onset is not None:
        heard = torque if onset.cause is OnsetCause.BURST else speed_error
        frequency_hz = onset_frequency_hz(heard, rate_hz, onset.time_s, band.lowest_oscillation_hz)
    return Listening(
        recording=recording,
        options=options,
        band=band,
        thresholds=thresholds,
        settings=settings,
        torque=torque,
        speed_error=speed_error,
        burst=burst,
        ring=ring,
        onset=onset,
        onset_frequency_hz=frequency_hz,
    )


def _settings(band: Band, thresholds: Thresholds) -> DetectorSettings:
    return DetectorSettings(
        quantised=band.quantised,
        corner_hz=band.corner_hz,
        ring=level_settings(band.ring_block_samples, thresholds.silence.amplitude_per_unit),
        burst=level_settings(band.burst_block_samples, thresholds.burst.amplitude_per_unit),
    )
