"""The exported detector and test pulse equal the Python reference bit for bit."""

from __future__ import annotations

from operator import neg

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainwright.detector.pulse_reference import ReferencePulse
from gainwright.detector.reference import ReferenceDetector
from gainwright.detector.settings import (
    HIGH_PASS_LIMIT,
    LARGEST_SCALE,
    LARGEST_SHIFT,
    LEVEL_MAX,
    LONGEST_BLOCK_TICKS,
    DetectorSettings,
    LevelSettings,
)
from gainwright.fixed.biquad_design import butterworth_high_pass
from gainwright.fixed.biquad_quantise import QuantisedSection, quantise_sections
from gainwright.fixed.biquad_reference import BiquadCoefficients
from gainwright.fixed.qformat import COEFFICIENT, SIGNAL_LIMIT
from gainwright.fixed.section import SecondOrderSection
from gainwright_codegen.host.detector import CompiledDetector, compiled_pulse

from ..shared.compilers import compiler_parameters

MIN32, MAX32 = -(2**31), 2**31 - 1
HIGH_PASS = quantise_sections(butterworth_high_pass(4, 400.0, 8000.0))

word32 = st.one_of(
    st.sampled_from((MIN32, -SIGNAL_LIMIT, -1, 0, 1, SIGNAL_LIMIT, MAX32)),
    st.integers(MIN32, MAX32),
)
levels = st.builds(
    LevelSettings,
    block_ticks=st.one_of(st.integers(1, 30), st.just(LONGEST_BLOCK_TICKS)),
    shift=st.integers(0, LARGEST_SHIFT),
    scale=st.one_of(st.just(LARGEST_SCALE), st.integers(1, LARGEST_SCALE)),
)
below_one = st.one_of(
    st.sampled_from((0, HIGH_PASS_LIMIT - 1)), st.integers(0, HIGH_PASS_LIMIT - 1)
)


def high_pass(b0: int, a1: int, a2: int) -> BiquadCoefficients:
    return BiquadCoefficients(b0, -2 * b0, b0, a1, a2)


sections = st.tuples(
    *[st.builds(high_pass, below_one, word32, st.one_of(below_one, below_one.map(neg)))] * 2
)


def any_settings(words: tuple[BiquadCoefficients, ...], ring, burst) -> DetectorSettings:
    """Settings with raw words of no particular design."""
    design = SecondOrderSection(0.0, 0.0, 0.0, 0.0, 0.0)
    quantised = tuple(QuantisedSection(design, w, COEFFICIENT) for w in words)
    return DetectorSettings(quantised, corner_hz=1.0, ring=ring, burst=burst)


def reference_levels(made: DetectorSettings, torque, speed_error) -> list[tuple[int, int]]:
    reference = ReferenceDetector(made)
    out = []
    for pair in zip(torque, speed_error, strict=True):
        reference.sample(*map(int, pair))
        out.append((reference.ring.level, reference.burst.level))
    return out


def compiled_levels(made: DetectorSettings, torque, speed_error) -> list[tuple[int, int]]:
    return pairs(CompiledDetector(made).run(torque, speed_error))


def pairs(ring_and_burst) -> list[tuple[int, int]]:
    return list(zip(*(a.tolist() for a in ring_and_burst), strict=True))


@settings(max_examples=150, deadline=None)
@given(sections, levels, levels, st.lists(st.tuples(word32, word32), min_size=1, max_size=80))
def test_any_filter_any_level_any_signal(words, ring, burst, signals):
    """Unstable filters and inputs beyond the signal range included."""
    made = any_settings(words, ring, burst)
    torque, speed_error = zip(*signals, strict=True)
    expected = reference_levels(made, torque, speed_error)
    assert compiled_levels(made, torque, speed_error) == expected
    assert all(0 <= level <= LEVEL_MAX for pair in expected for level in pair)


@settings(max_examples=25, deadline=None)
@given(levels, levels, st.integers(0, 2**32 - 1), st.integers(8, 31))
def test_noise_through_a_high_pass(ring, burst, seed, bits):
    torque, speed_error = np.random.default_rng(seed).integers(-(2**bits), 2**bits, (2, 600))
    torque, speed_error = (np.clip(x, MIN32, MAX32) for x in (torque, speed_error))
    made = DetectorSettings(HIGH_PASS, 400.0, ring, burst)
    expected = reference_levels(made, torque, speed_error)
    assert compiled_levels(made, torque, speed_error) == expected


def test_longest_block_of_the_strongest_signal():
    """2^14 squares of a filtered signal at its limit: the largest energy there can be."""
    words = (high_pass(HIGH_PASS_LIMIT - 1, 0, 0),) * 2
    longest = [LevelSettings(LONGEST_BLOCK_TICKS, shift, 2**17) for shift in (47, 0)]
    made = any_settings(words, *longest)
    signal = np.where(np.arange(LONGEST_BLOCK_TICKS) % 2, MAX32, MIN32)
    found = compiled_levels(made, signal, signal)
    assert found == reference_levels(made, signal, signal)
    # Every square is 2^48, as the rounding of 2^28 - 1 goes up and -2^28 is exact:
    # (2^62 >> 47) 2^17 >> 24 = 2^8.
    assert found[-1] == (256, LEVEL_MAX)
    assert found[-2] == (0, 0)


def test_runs_continue_where_they_ended():
    made = DetectorSettings(HIGH_PASS, 400.0, LevelSettings(7, 9, 99), LevelSettings(5, 20, 2**17))
    torque, speed_error = np.random.default_rng(1).integers(-(2**20), 2**20, (2, 300))
    whole = CompiledDetector(made).run(torque, speed_error)
    detector = CompiledDetector(made)
    parts = [detector.run(torque[a:b], speed_error[a:b]) for a, b in ((0, 0), (0, 101), (101, 300))]
    for number in range(2):
        joined = np.concatenate([part[number] for part in parts])
        assert joined.tolist() == whole[number].tolist()
    detector.reset()
    assert detector.run(torque, speed_error)[0].tolist() == whole[0].tolist()


@pytest.mark.parametrize(
    ("torque", "speed_error", "words"),
    [
        ([1, 2], [1], "2 torque but 1"),
        ([1.0], [1], "float64"),
        ([2**31], [0], "do not fit"),
        ([[1]], [[1]], "one row"),
    ],
)
def test_samples_that_are_no_words_are_refused(torque, speed_error, words):
    made = DetectorSettings(HIGH_PASS, 400.0, LevelSettings(7, 9, 99), LevelSettings(5, 20, 9))
    with pytest.raises(ValueError, match=words):
        CompiledDetector(made).run(torque, speed_error)


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.integers(-(2**15), 2**15 - 1), min_size=1, max_size=12),
    # The lowest word has no opposite, and no table has it.
    st.lists(
        st.tuples(st.booleans(), word32.filter(lambda w: w > -(2**31))), min_size=1, max_size=60
    ),
)
def test_pulse_of_any_shape_and_height(shape, ticks):
    """Restarts in mid-flight included."""
    starts, heights = zip(*ticks, strict=True)
    reference, expected = ReferencePulse(shape), []
    for start, height in ticks:
        if start:
            reference.start(height)
        expected.append(reference.sample())
    assert compiled_pulse(shape, starts, heights).tolist() == expected


@pytest.mark.parametrize("command", compiler_parameters("gcc", "clang", "zig"))
def test_other_compilers_give_the_same(command, monkeypatch):
    monkeypatch.setenv("GAINWRIGHT_CC", command)
    made = DetectorSettings(HIGH_PASS, 400.0, LevelSettings(7, 9, 99), LevelSettings(5, 20, 2**17))
    torque, speed_error = np.random.default_rng(3).integers(MIN32, 2**31, (2, 2000))
    expected = reference_levels(made, torque, speed_error)
    for flags in (("-O0",), ("-O3",)):
        assert pairs(CompiledDetector(made, flags).run(torque, speed_error)) == expected


def test_speed_over_a_million_samples(benchmark):
    made = DetectorSettings(HIGH_PASS, 400.0, LevelSettings(100, 9, 99), LevelSettings(15, 20, 99))
    signals = np.random.default_rng(2).integers(-(2**20), 2**20, (2, 1_000_000)).astype(np.int32)
    ring, burst = benchmark(CompiledDetector(made).run, *signals)
    assert len(ring) == len(burst) == 1_000_000


@pytest.mark.parametrize(
    ("section", "words"),
    [
        (BiquadCoefficients(5, -9, 5, 1, 1), "zeros at z = 1"),
        (BiquadCoefficients(5, -10, 4, 1, 1), "zeros at z = 1"),
        (high_pass(-1, 0, 0), "not below"),
        (high_pass(HIGH_PASS_LIMIT, 0, 0), "not below"),
        (high_pass(1, 0, HIGH_PASS_LIMIT), "not below"),
        (high_pass(1, 0, -HIGH_PASS_LIMIT), "not below"),
    ],
)
def test_what_the_c_cannot_hold_is_refused(section, words):
    level = LevelSettings(7, 9, 99)
    with pytest.raises(ValueError, match=words):
        any_settings((section, high_pass(1, 1, 1)), level, level)
