"""What the detector listens to in a recording: its band, its blocks, and when it has settled."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gainwright.detector.design import BAND_START, BURST_PERIODS, HIGHEST_CORNER, RING_PERIODS
from gainwright.detector.settings import LONGEST_BLOCK_TICKS, SECTIONS
from gainwright.detector.timing import DriveTiming, lowest_oscillation_frequency_hz
from gainwright.errors import InputError, input_error
from gainwright.fixed.biquad_design import butterworth_high_pass
from gainwright.fixed.biquad_quantise import QuantisedSection, quantise_sections
from gainwright.listening.options import OPTIONS, ListenOptions
from gainwright.recording.recording import Recording

FloatArray = npt.NDArray[np.float64]

SETTLING_PERIODS = 5
"""Periods of the corner frequency after which the filter has forgotten how the recording began.

The slowest pole of a fourth-order Butterworth high-pass decays by exp(-2 pi cos(67.5 deg)) per
period, so five periods leave less than 1e-5 of a step.
"""


@dataclass(frozen=True, slots=True)
class Band:
    """The detector's high-pass and blocks at the recording's sample rate."""

    sample_rate_hz: float
    lowest_oscillation_hz: float
    corner_hz: float
    """-3 dB frequency of the high-pass."""
    quantised: tuple[QuantisedSection, ...]
    ring_block_samples: int
    burst_block_samples: int

    @property
    def settling_s(self) -> float:
        """Time at the start of a recording of which the detector's levels say nothing."""
        return SETTLING_PERIODS / self.corner_hz

    def filter(self, per_unit: FloatArray) -> FloatArray:
        """Return the band-passed signal, in floating point but with the detector's coefficients."""
        from scipy.signal import sosfilt  # here, as it takes long to import

        sections = [section.realised() for section in self.quantised]
        return sosfilt([(s.b0, s.b1, s.b2, 1.0, s.a1, s.a2) for s in sections], per_unit)


def band_of(recording: Recording, options: ListenOptions) -> Band:
    """Return the band that the options state for this recording.

    Raises:
        InputError: the recording is too slow or too fast for the band.
    """
    rate_hz = recording.sample_rate_hz
    lowest_hz = _lowest_oscillation_hz(options, rate_hz)
    corner_hz = BAND_START * lowest_hz
    _check(recording, options, corner_hz)
    return Band(
        sample_rate_hz=rate_hz,
        lowest_oscillation_hz=lowest_hz,
        corner_hz=corner_hz,
        quantised=quantise_sections(butterworth_high_pass(2 * SECTIONS, corner_hz, rate_hz)),
        ring_block_samples=math.ceil(RING_PERIODS * rate_hz / lowest_hz),
        burst_block_samples=math.ceil(BURST_PERIODS * rate_hz / lowest_hz),
    )


def _lowest_oscillation_hz(options: ListenOptions, rate_hz: float) -> float:
    if options.band_from_hz is not None:
        return options.band_from_hz / BAND_START
    timing = DriveTiming(
        control_tick_s=options.control_tick_s or 1.0 / rate_hz,
        torque_delay_ticks=options.delay_ticks or 1,
        current_loop_time_constant_s=options.current_loop_s or 0.0,
        speed_filter_time_constant_s=options.speed_filter_s or 0.0,
    )
    return lowest_oscillation_frequency_hz(timing)


def _check(recording: Recording, options: ListenOptions, corner_hz: float) -> None:
    rate_hz = recording.sample_rate_hz
    highest_hz = HIGHEST_CORNER * rate_hz
    lowest_hz = BAND_START * RING_PERIODS * rate_hz / LONGEST_BLOCK_TICKS
    if corner_hz > highest_hz:
        raise _band_error(
            recording,
            options,
            corner_hz,
            f"up to {highest_hz:.6g} Hz, {HIGHEST_CORNER:g} of the sample rate of {rate_hz:.6g} Hz",
            "record at a higher rate, without filtering; below half the sample rate a recording "
            "shows nothing of a faster oscillation",
        )
    if corner_hz < lowest_hz:
        raise _band_error(
            recording,
            options,
            corner_hz,
            f"from {lowest_hz:.6g} Hz: the detector's blocks end at {LONGEST_BLOCK_TICKS} samples",
            "check the band or the drive's times; if they are right, low-pass the recording and "
            "thin it out",
        )


def _band_error(
    recording: Recording, options: ListenOptions, corner_hz: float, expected: str, remedy: str
) -> InputError:
    stated = options.band_from_hz is not None
    place = OPTIONS["band_from_hz"] if stated else "band, by the drive's timing"
    return input_error(recording.file, place, f"from {corner_hz:.6g} Hz", expected, remedy)
