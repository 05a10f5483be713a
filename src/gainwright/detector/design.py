"""Finds the detector's settings from the drive's timing and ratings and the stage's data.

Nothing here knows the machine but for the rotor inertia on the motor's own plate, which only sizes
the test pulse. The band begins below the lowest frequency at which the loop can oscillate
(its kind's band rule, :mod:`gainwright.stage_kind`), the blocks hold a fixed number of that
frequency's periods,
and the silence threshold follows the encoder: one count per control tick is the smallest speed
there is.
"""

from __future__ import annotations

import math

import numpy as np

from gainwright.detector.settings import (
    HEADROOM_BITS,
    LEVEL_MAX,
    LEVEL_ONE,
    LEVEL_SCALE_BITS,
    SECTIONS,
    DetectorSettings,
    LevelSettings,
    PulseSettings,
)
from gainwright.detector.steps import STEPS_RMS, filtered_steps_rms
from gainwright.detector.timing import DriveRatings, DriveTiming
from gainwright.fixed.biquad_design import butterworth_high_pass
from gainwright.fixed.biquad_quantise import quantise_sections
from gainwright.fixed.qformat import Q15, SIGNAL, SIGNAL_LIMIT
from gainwright.language.model import Stage
from gainwright.stage_kind import StageKind

BAND_START = 0.6
"""Corner of the high-pass, as a share of the lowest oscillation frequency."""
HIGHEST_CORNER = 0.4
"""... but never above this share of the sample rate."""
RING_PERIODS = 5
BURST_PERIODS = 1.2
PULSE_PERIODS = 4
"""The pulse sweeps this many periods ..."""
PULSE_SWEEP = 3.0
"""... from the lowest oscillation frequency to this many times it."""
SWING_SHARE = 0.07
"""Of cruise speed, root mean square: a speed error of this is no noise of a sound axis."""
STEPS_SHARE = 0.07
"""Of cruise speed, root mean square: what is louder is no matter of steps, however coarse."""
STEPS_MARGIN = 1.015
"""Up to so many times STEPS_RMS is a matter of steps: levels are rounded."""
LEAST_RAW_AMPLITUDE = 16
"""No threshold lies below this, after the headroom shift: rounding noise stays well under it."""
_LARGEST_RAW_AMPLITUDE = SIGNAL_LIMIT / 2**HEADROOM_BITS
_PER_RAW = 2**HEADROOM_BITS / 2**SIGNAL.fraction_bits
"""One unit of a filtered signal without its headroom bits, per unit."""
PULSE_TOP = 0.4
"""Highest frequency of the sweep, share of the sample rate."""


def design_detector(
    kind: StageKind,
    stage: Stage,
    timing: DriveTiming,
    ratings: DriveRatings,
    cruise_speed_rad_per_s: float = math.inf,
) -> DetectorSettings:
    """Return the detector's settings for one stage of a kind; at no cruise speed nothing swings."""
    lowest_hz = kind.lowest_oscillation_hz(timing)
    period_ticks = 1 / (lowest_hz * timing.control_tick_s)
    count_speed = (
        2 * math.pi / ratings.encoder_counts_per_turn / timing.control_tick_s
    ) / ratings.top_speed_rad_per_s
    burst_torque = stage.burst_share * ratings.torque_limit_nm / ratings.rated_torque_nm
    corner_hz = band_corner_hz(lowest_hz, timing)
    high_pass = butterworth_high_pass(2 * SECTIONS, corner_hz, 1 / timing.control_tick_s)
    silence = stage.silence_counts * count_speed
    cruise = cruise_speed_rad_per_s / ratings.top_speed_rad_per_s
    steps, filtered = (rms * count_speed for rms in (STEPS_RMS, filtered_steps_rms(timing)))
    return DetectorSettings(
        quantised=quantise_sections(high_pass),
        corner_hz=corner_hz,
        ring=level_settings(math.ceil(RING_PERIODS * period_ticks), silence),
        burst=level_settings(math.ceil(BURST_PERIODS * period_ticks), burst_torque),
        swing_level=_level_of_rms(silence, math.hypot(filtered, SWING_SHARE * cruise)),
        steps_level=_level_of_rms(silence, min(STEPS_MARGIN * steps, STEPS_SHARE * cruise)),
    )


def band_corner_hz(lowest_hz: float, timing: DriveTiming) -> float:
    """Return the -3 dB frequency of the high-pass, for the lowest oscillation frequency."""
    return min(BAND_START * lowest_hz, HIGHEST_CORNER / timing.control_tick_s)


def _level_of_rms(silence: float, rms: float) -> int:
    """Return the ring level of a root mean square, where LEVEL_ONE is silence, an amplitude."""
    level = LEVEL_ONE * 2.0 * (rms / (_raw_amplitude(silence) * _PER_RAW)) ** 2
    return round(min(level, LEVEL_MAX))


def _raw_amplitude(amplitude_per_unit: float) -> float:
    raw_amplitude = amplitude_per_unit / _PER_RAW
    return min(max(raw_amplitude, LEAST_RAW_AMPLITUDE), _LARGEST_RAW_AMPLITUDE)


def level_settings(block_ticks: int, amplitude_per_unit: float) -> LevelSettings:
    """Return settings by which a sine of this amplitude over a whole block has level LEVEL_ONE."""
    threshold = _raw_amplitude(amplitude_per_unit) ** 2 / 2 * block_ticks
    shift = max(0, math.floor(math.log2(threshold)) - 15)
    scale = round(LEVEL_ONE * 2**LEVEL_SCALE_BITS / (threshold / 2**shift))
    return LevelSettings(block_ticks=block_ticks, shift=shift, scale=scale)


def design_pulse(
    kind: StageKind,
    stage: Stage,
    timing: DriveTiming,
    ratings: DriveRatings,
    values: tuple[float, ...],
) -> PulseSettings:
    """Return the test pulse: shape, and height for each rung's value in the kind's unit."""
    lowest_hz = kind.lowest_oscillation_hz(timing)
    half_wave_s = 0.5 / lowest_hz
    limit = ratings.torque_limit_nm / ratings.rated_torque_nm
    heights = tuple(
        SIGNAL.quantise(limit * kind.pulse_share(stage, ratings, half_wave_s, value))
        for value in values
    )
    return PulseSettings(shape=pulse_shape(lowest_hz, timing), heights=heights)


def pulse_shape(lowest_hz: float, timing: DriveTiming) -> tuple[int, ...]:
    """Return the pulse as Q0.15 samples: square half waves that grow shorter, PULSE_PERIODS in all.

    Several frequencies, because a resonance that limits the gain may lie anywhere above the lowest
    oscillation frequency; square, because that gives most ringing for a given height.
    """
    stop_hz = max(lowest_hz, min(PULSE_SWEEP * lowest_hz, PULSE_TOP / timing.control_tick_s))
    half_waves = 2 * PULSE_PERIODS
    half_wave_s = 0.5 / np.geomspace(lowest_hz, stop_hz, half_waves)
    edges = np.rint(np.concatenate([[0.0], np.cumsum(half_wave_s)]) / timing.control_tick_s)
    lengths = np.diff(edges.astype(int))
    signs = np.where(np.arange(half_waves) % 2 == 0, 1.0, -1.0)
    return tuple(Q15.quantise(float(sign)) for sign in np.repeat(signs, lengths))
