"""The detector's settings against theory: where a loop can oscillate, thresholds, corner, pulse."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from gainwright.detector.design import (
    BAND_START,
    LEAST_RAW_AMPLITUDE,
    PULSE_PERIODS,
    PULSE_SWEEP,
    SWING_SHARE,
    design_detector,
    design_pulse,
    level_settings,
    pulse_shape,
)
from gainwright.detector.pulse_reference import ReferencePulse
from gainwright.detector.reference import ReferenceDetector, level_of
from gainwright.detector.settings import (
    HEADROOM_BITS,
    LARGEST_SCALE,
    LARGEST_SHIFT,
    LEVEL_MAX,
    LEVEL_ONE,
    LONGEST_BLOCK_TICKS,
)
from gainwright.detector.steps import STEPS_RMS, filtered_steps_rms
from gainwright.detector.timing import (
    DriveRatings,
    DriveTiming,
    drive_lag_rad,
    lowest_oscillation_frequency_hz,
)
from gainwright.errors import InputError
from gainwright.fixed.qformat import SIGNAL
from gainwright.fixed.section import cascade_response
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright.stage_kind import DRIVE_SETTINGS, STAGE_KINDS
from gainwright_codegen.axis_c.tables import axis_tables
from gainwright_sim.machine import load_machine
from gainwright_sim.rig.axis import axis_data
from gainwright_sim.theory import sample_axis
from gainwright_sim.theory.stages import SPEED_GAIN, STAGE_THEORY

STAGE = load_trial(shipped_trial_path()).stages[0]
KIND = STAGE_KINDS[STAGE.name]
RATINGS = DriveRatings(10.0, 25.0, 314.0, 2**20, 1e-3)
FULL_SCALE = 2**24

timings = st.builds(
    DriveTiming,
    control_tick_s=st.floats(62.5e-6, 250e-6),
    torque_delay_ticks=st.integers(1, 4),
    current_loop_time_constant_s=st.one_of(st.just(0.0), st.floats(1e-5, 4e-4)),
    speed_filter_time_constant_s=st.one_of(st.just(0.0), st.floats(1e-4, 2e-3)),
)


# --- No chain of masses and springs oscillates below the frequency that the drive's lag gives -----


def onset_ratio(machine) -> float:
    """Exact frequency at the stability limit over the lowest that the drive's timing allows."""
    limit = SPEED_GAIN.limit(machine)
    assert math.isfinite(limit.gain)
    return limit.frequency_hz / lowest_oscillation_frequency_hz(axis_data(machine).timing)


def test_onset_of_random_axes_is_never_below_the_lowest_frequency():
    ratios = {seed: onset_ratio(sample_axis(seed)) for seed in range(200)}
    seed = min(ratios, key=ratios.__getitem__)
    # The ratio of a rigid axis is 1; a first-order current loop is held in steps, its lag above is
    # continuous, so that it may come out a hair lower.
    assert ratios[seed] >= 0.97, f"seed {seed}"
    assert max(ratios.values()) > 1.2, "axes limited by a resonance are among them"


@settings(max_examples=40, deadline=None)
@given(st.integers(200, 100_000), timings)
def test_the_same_with_other_drive_timings(seed, timing):
    machine = sample_axis(seed)
    drive = replace(
        machine.drive,
        control_tick_s=timing.control_tick_s,
        torque_delay_ticks=timing.torque_delay_ticks,
        current_loop_time_constant_s=timing.current_loop_time_constant_s,
        speed_filter_time_constant_s=timing.speed_filter_time_constant_s,
    )
    # Start low enough that the slowest of these drives is stable there; the position is held as
    # much more weakly, so that it is the speed loop whose limit is found.
    start = 0.01 * machine.speed_loop.start_speed_gain_nms_per_rad
    hold = 0.01 * machine.speed_loop.hold_gain_per_s
    loop = replace(machine.speed_loop, start_speed_gain_nms_per_rad=start, hold_gain_per_s=hold)
    assert onset_ratio(replace(machine, drive=drive, speed_loop=loop)) >= 0.97


@pytest.mark.parametrize(
    "name", ["grinder-slide", "glaze-gantry", "kiln-shuttle", "door-hoist", "positioning-bench"]
)
def test_onset_of_the_shipped_machines_lies_in_the_band(name):
    """One of them has an integral part and one a backlash, which the argument leaves out."""
    assert onset_ratio(load_machine(name)) >= 0.97 > BAND_START


def test_lag_of_a_drive_by_hand():
    """125 us, one tick of delay: 90 degrees at a quarter turn per two ticks, 1/(8 Ts) = 1000 Hz."""
    timing = DriveTiming(125e-6, 1, 0.0, 0.0)
    assert lowest_oscillation_frequency_hz(timing) == pytest.approx(1000.0)
    assert drive_lag_rad(timing, 1000.0) == pytest.approx(math.pi / 2)
    slower = replace(timing, current_loop_time_constant_s=1 / (2 * math.pi * 500.0))
    assert drive_lag_rad(slower, 500.0) == pytest.approx(math.pi / 4 + math.pi / 4)
    assert lowest_oscillation_frequency_hz(slower) == pytest.approx(500.0)


# --- Levels -----------------------------------------------------------------------------------


@settings(max_examples=200, deadline=None)
@given(
    st.integers(1, 300),
    st.integers(2, 40),
    st.floats(100 * 2**HEADROOM_BITS / FULL_SCALE, 1.0),
)
def test_a_sine_at_the_threshold_has_level_256(periods, ticks_per_period, amplitude):
    """Whole periods, before the filter; within 1 %, which is 2.56 of a level.

    From 100 units on, as the rounding of less adds a share of its own.
    """
    ticks = periods * ticks_per_period
    made = level_settings(ticks, amplitude)
    raw = amplitude * FULL_SCALE / 2**HEADROOM_BITS
    # Half a sample off, so that two samples a period are seen too.
    phase = 2 * math.pi * (np.arange(ticks) / ticks_per_period) + math.pi / 4
    energy = int(np.sum(np.round(raw * np.sin(phase)).astype(np.int64) ** 2))
    assert level_of(energy, made) == pytest.approx(LEVEL_ONE, rel=0.01)


@settings(max_examples=300, deadline=None)
@given(st.integers(1, LONGEST_BLOCK_TICKS), st.floats(0.0, 1e6))
def test_any_threshold_gives_settings_inside_the_ranges_of_the_c(block_ticks, amplitude):
    made = level_settings(block_ticks, amplitude)
    assert 0 <= made.shift <= LARGEST_SHIFT
    assert 1 <= made.scale <= LARGEST_SCALE


def test_the_largest_scale_is_needed():
    assert level_settings(1, 0.0).scale == LARGEST_SCALE


@pytest.mark.parametrize("amplitude", [2e-4, 3e-3, 0.1, 1.0])
@pytest.mark.parametrize("band", ["ring", "burst"])
def test_a_sine_at_the_threshold_through_the_whole_detector(band, amplitude):
    """Well inside the band the level is 256, at lower frequencies 256 |H|^2."""
    rate_hz = 8000.0
    designed = design_detector(KIND, STAGE, DriveTiming(1 / rate_hz, 1, 1e-4, 0.0), RATINGS)
    ticks = 240
    level = level_settings(ticks, amplitude)
    made = replace(designed, ring=level, burst=level)
    for frequency_hz in (rate_hz / 6, rate_hz / 12, rate_hz / 20):
        detector = ReferenceDetector(made)
        for k in range(5 * ticks):
            angle = 2 * math.pi * frequency_hz * k / rate_hz + 0.3
            word = round(amplitude * FULL_SCALE * math.sin(angle))
            detector.sample(*((word, 0) if band == "burst" else (0, word)))
        found, other = detector.burst.level, detector.ring.level
        if band == "ring":
            found, other = other, found
        sections = [section.realised() for section in made.quantised]
        share = abs(cascade_response(sections, np.array([frequency_hz]), rate_hz)[0]) ** 2
        assert found == pytest.approx(LEVEL_ONE * share, rel=0.01, abs=1.0)
        assert other == 0
    assert share < 0.7  # so that the last of them is a real part of the test


def test_levels_of_twice_and_256_times_the_threshold():
    """Energy goes with the square of the amplitude: 4 and, at the end of the scale, 65536 times."""
    made = level_settings(100, 0.01)
    threshold = 100 * (0.01 * FULL_SCALE / 2**HEADROOM_BITS) ** 2 / 2
    assert level_of(round(4 * threshold), made) == pytest.approx(4 * LEVEL_ONE, rel=0.01)
    assert level_of(round(255 * threshold), made) == pytest.approx(255 * LEVEL_ONE, rel=0.01)
    assert level_of(round(65_600 * threshold), made) == LEVEL_MAX
    assert level_of(2**62, made) == LEVEL_MAX
    assert level_of(0, made) == 0


def test_no_threshold_lies_in_the_rounding_noise():
    """Not even a threshold of zero: the amplitude is then LEAST_RAW_AMPLITUDE."""
    made = level_settings(100, 0.0)
    assert level_of(100 * LEAST_RAW_AMPLITUDE**2 // 2, made) == pytest.approx(LEVEL_ONE, rel=0.01)


def test_swing_level_is_a_swing_among_the_steps_of_the_encoder():
    """A sine of so much speed, and half a step for the encoder's: energies add up."""
    steps = 2 * math.pi / RATINGS.encoder_counts_per_turn * 8000 / RATINGS.top_speed_rad_per_s
    for cruise in (0.1, 1.0, 20.0):
        made = design_detector(KIND, STAGE, DriveTiming(1 / 8000, 1), RATINGS, cruise)
        share = SWING_SHARE * cruise / RATINGS.top_speed_rad_per_s
        energy = (share**2 + (STEPS_RMS * steps) ** 2) * made.ring.block_ticks
        raw = round(energy * 2.0 ** (2 * SIGNAL.fraction_bits - 2 * HEADROOM_BITS))
        assert made.swing_level == pytest.approx(level_of(raw, made.ring), rel=0.01, abs=1)
    assert design_detector(KIND, STAGE, DriveTiming(1 / 8000, 1), RATINGS).swing_level == LEVEL_MAX


@pytest.mark.parametrize(("filter_s", "expected"), [(0.0, 0.5), (1e-4, 0.29), (1e-3, 0.036)])
def test_steps_behind_the_speed_filter(filter_s, expected):
    """Against counts of constant speeds, filtered tick by tick: none is louder, one nearly so."""
    timing = DriveTiming(1 / 8000, 1, speed_filter_time_constant_s=filter_s)
    share = 1 - math.exp(-1 / (8000 * filter_s)) if filter_s else 1.0
    counts = np.diff(np.floor(np.outer(np.arange(0.003, 1.0, 0.0097), np.arange(20_000))))
    speed = lfilter([share], [1.0, share - 1.0], counts)[:, 10_000:]
    loudest = speed.std(axis=1).max()
    assert loudest == pytest.approx(expected, rel=0.03)
    assert loudest <= 1.02 * filtered_steps_rms(timing) <= 1.1 * loudest


# --- Filter and blocks ------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(timings)
def test_corner_of_the_high_pass(timing):
    """-3.01 dB at the corner, 24 dB per octave below it, nothing lost far above it."""
    rate_hz = 1 / timing.control_tick_s
    made = design_detector(KIND, STAGE, timing, RATINGS)
    sections = [section.realised() for section in made.quantised]
    grid = np.array([made.corner_hz, made.corner_hz / 8, 0.499 * rate_hz])
    at_corner, below, above = np.abs(cascade_response(sections, grid, rate_hz))
    assert at_corner == pytest.approx(math.sqrt(0.5), rel=1e-3)
    assert below < 8.0**-4
    assert above == pytest.approx(1.0, abs=1e-3)
    assert made.corner_hz <= BAND_START * lowest_oscillation_frequency_hz(timing) * (1 + 1e-12)


@settings(max_examples=60, deadline=None)
@given(timings)
def test_blocks_of_usual_drives_are_short_enough(timing):
    made = design_detector(KIND, STAGE, timing, RATINGS)
    for level in (made.ring, made.burst):
        assert 1 <= level.block_ticks <= LONGEST_BLOCK_TICKS
    assert made.burst.block_ticks < made.ring.block_ticks


def test_a_drive_too_slow_for_the_blocks_is_refused():
    axis = axis_data(load_machine("door-hoist"))
    slow = replace(axis.timing, control_tick_s=50e-6, speed_filter_time_constant_s=0.2)
    slow = replace(slow, current_loop_time_constant_s=0.01)
    with pytest.raises(InputError, match=r"door-hoist: drive timing(.|\n)*at most 3277"):
        axis_tables(load_trial(shipped_trial_path()), replace(axis, timing=slow))


def test_a_ladder_too_steep_for_32_bits_is_refused():
    trial = load_trial(shipped_trial_path())
    steep = replace(trial, stages=(replace(trial.stages[0], ratio=1.5),))
    with pytest.raises(InputError, match=r"standard: stage speed_gain(.|\n)*at most \d+ rungs"):
        axis_tables(steep, axis_data(load_machine("kiln-shuttle")))


# --- Test pulse -------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(timings, st.floats(1e-4, 1e-1))
def test_pulse_stays_within_its_shares(timing, rotor_inertia_kgm2):
    ratings = replace(RATINGS, rotor_inertia_kgm2=rotor_inertia_kgm2)
    gains = tuple(float(gain) for gain in np.geomspace(1e-3, 100.0, 60))
    pulse = design_pulse(KIND, STAGE, timing, ratings, gains)
    half_wave_s = 0.5 / lowest_oscillation_frequency_hz(timing)
    unit = 1 / FULL_SCALE
    for gain, word in zip(gains, pulse.heights, strict=True):
        height_nm = (word * unit) * ratings.rated_torque_nm
        assert 0 <= height_nm <= STAGE.pulse_share * ratings.torque_limit_nm * (1 + 1e-6)
        answer_nm = gain * height_nm * half_wave_s / rotor_inertia_kgm2
        rounding_nm = gain * unit * ratings.rated_torque_nm * half_wave_s / rotor_inertia_kgm2
        assert answer_nm <= STAGE.response_share * ratings.torque_limit_nm + rounding_nm
    assert list(pulse.heights) == sorted(pulse.heights, reverse=True)
    player = ReferencePulse(pulse.shape)
    player.start(pulse.heights[0])
    played = [player.sample() for _ in range(len(pulse.shape) + 1)]
    assert max(map(abs, played)) <= pulse.heights[0]
    assert played[-1] == 0


@settings(max_examples=60, deadline=None)
@given(timings)
def test_pulse_sweeps_upwards_from_the_lowest_frequency(timing):
    shape = pulse_shape(lowest_oscillation_frequency_hz(timing), timing)
    lowest_ticks = 0.5 / lowest_oscillation_frequency_hz(timing) / timing.control_tick_s
    assert set(shape) <= {-(2**15), 2**15 - 1}
    edges = np.flatnonzero(np.diff(np.sign(shape))) + 1
    lengths = np.diff([0, *edges, len(shape)])
    assert len(lengths) == 2 * PULSE_PERIODS
    assert lengths[0] == pytest.approx(lowest_ticks, abs=1)
    assert lengths[-1] >= lowest_ticks / PULSE_SWEEP - 1
    assert all(b <= a + 1 for a, b in pairwise(lengths))


def test_every_kind_of_stage_tunes_a_setting_of_the_drive_and_has_its_theory():
    assert set(STAGE_KINDS) <= set(DRIVE_SETTINGS)
    assert set(STAGE_THEORY) == set(STAGE_KINDS)


def test_a_stage_of_an_unknown_kind_is_refused_by_name():
    trial = load_trial(shipped_trial_path())
    unknown = dataclasses.replace(trial, stages=(dataclasses.replace(STAGE, name="jerk_gain"),))
    with pytest.raises(InputError, match=r"jerk_gain(.|\n)*one of: speed_gain"):
        axis_tables(unknown, axis_data(load_machine("grinder-slide")))
