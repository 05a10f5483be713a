"""What the report says of fixed point holds when the filter runs, and shows what is planted."""

from __future__ import annotations

import dataclasses
import json
import random

import numpy as np
import pytest
from scipy.signal import sosfilt

from gainwright.errors import InputError
from gainwright.fixed.biquad_reference import BiquadCoefficients, BiquadReference
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.axis_c.tables import axis_tables
from gainwright_codegen.precision.compared import compare
from gainwright_codegen.precision.figures import SIGNAL_HIGHEST, _period, stage_figures
from gainwright_codegen.precision.page import write_report
from gainwright_sim.machine import load_machine
from gainwright_sim.rig.axis import axis_data

pytestmark = pytest.mark.usefixtures("scratch_cache")
COUNT_RAW = 100.0


@pytest.fixture(scope="module")
def axis():
    return axis_data(load_machine("kiln-shuttle"))


@pytest.fixture(scope="module")
def tables(axis):
    return axis_tables(load_trial(shipped_trial_path()), axis)[0]


@pytest.fixture(scope="module")
def figures(scratch_cache, tables, axis):
    return stage_figures(tables, axis)


def rounding_error(settings, signal) -> np.ndarray:
    """Fixed point less double precision with the same words: what rounding alone does."""
    sections = np.array(
        [[r.b0, r.b1, r.b2, 1.0, r.a1, r.a2] for r in (q.realised() for q in settings.quantised)]
    )
    whole = list(map(int, signal))
    for words in settings.sections:
        whole = BiquadReference(words).run(whole)
    return np.array(whole, dtype=float) - sosfilt(sections, signal)


def test_rounding_noise_is_as_said_and_its_bound_is_kept(tables, figures):
    signal = np.random.default_rng(3).integers(-(2**22), 2**22, 20_000)
    error = rounding_error(tables.detector, signal)
    # The bound passes all noise of section 1 with the largest gain of section 2.
    assert 0.4 * figures.noise_rms_lsb < np.std(error) < 1.05 * figures.noise_rms_lsb
    assert np.max(np.abs(error)) < figures.limit_cycle.bound_lsb
    assert abs(np.mean(error)) < 0.05


def test_accumulators_are_driven_near_their_bound_and_never_beyond(tables, figures):
    """By the sign of the section's own coefficients: every part of the sum at its highest."""
    for words, accumulator in zip(tables.detector.sections, figures.accumulators, strict=False):
        largest = 0
        for past in (-SIGNAL_HIGHEST, SIGNAL_HIGHEST - 1):
            outer = SIGNAL_HIGHEST - 1 if words.b0 > 0 else -SIGNAL_HIGHEST
            y1 = SIGNAL_HIGHEST - 1 if words.a1 > 0 else -SIGNAL_HIGHEST
            y2 = SIGNAL_HIGHEST - 1 if words.a2 > 0 else -SIGNAL_HIGHEST
            total = words.b0 * (outer - 2 * past + outer) + words.a1 * y1 + words.a2 * y2
            largest = max(largest, abs(total + 2**30 - 1))
        assert 0.99 * accumulator.largest < largest <= accumulator.largest < 2**accumulator.bits


def test_a_filter_that_rings_for_long_stays_within_its_bound():
    """Poles close to z = 1, 3.5 Hz at 8 kHz: where truncation would stick (SOURCES 5.4)."""
    words = BiquadCoefficients(2**30 - 1, -2 * (2**30 - 1), 2**30 - 1, 2144537000, -1070810000)
    source, section = random.Random(1), BiquadReference(words)
    for _ in range(50):
        section.step(source.randint(-SIGNAL_HIGHEST, SIGNAL_HIGHEST - 1))
    stays = section.run([0] * 40_000)[-4000:]
    assert max(map(abs, stays)) <= 2


@pytest.mark.parametrize(
    ("values", "period"), [([3] * 40, 0), ([0, 1, 2] * 20, 3), (list(range(40)), -1)]
)
def test_periods(values, period):
    assert _period(values) == period


def test_both_detectors_decide_alike_and_the_difference_is_one_unit_of_level(figures):
    comparison = figures.comparison
    assert comparison.blocks > 1000
    # A level of 64 is rounded down by at most one unit.
    assert comparison.largest_difference < 1.5 / 64
    assert comparison.decided_otherwise <= comparison.blocks // 500
    assert comparison.onset_otherwise <= 1


def test_words_of_six_bits_show(tables, axis):
    """Coefficients whose lowest 24 bits are lost: the same design, another filter."""

    def cut(quantised):
        words = quantised.coefficients
        b0, a1, a2 = (word >> 24 << 24 for word in (words.b0, words.a1, words.a2))
        return dataclasses.replace(
            quantised, coefficients=BiquadCoefficients(b0, -2 * b0, b0, a1, a2)
        )

    settings = tables.detector
    coarse = dataclasses.replace(settings, quantised=tuple(map(cut, settings.quantised)))
    tick_s = axis.timing.control_tick_s
    sound, broken = (compare(one, tick_s, COUNT_RAW) for one in (settings, coarse))
    assert abs(broken.mean_difference) > 3 * abs(sound.mean_difference)


@pytest.mark.slow
def test_the_report_is_the_same_twice_and_touches_no_other_folder(axis, tmp_path):
    trial = load_trial(shipped_trial_path())
    write_report(trial, axis, tmp_path / "one")
    write_report(trial, axis, tmp_path / "two")
    for name in ("precision.md", "precision.json", "precision.png", "SHA256SUMS"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
    data = json.loads((tmp_path / "one" / "precision.json").read_text())
    assert data["trial_digest"] == trial.digest
    assert [stage["stage"] for stage in data["stages"]] == ["speed_gain"]
    (tmp_path / "three").mkdir()
    (tmp_path / "three" / "precision.md").write_text("mine")
    with pytest.raises(InputError, match="--report"):
        write_report(trial, axis, tmp_path / "three")
    assert (tmp_path / "three" / "precision.md").read_text() == "mine"
