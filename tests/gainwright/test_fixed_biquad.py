"""Design and quantisation of second-order sections, and what the integer filter makes of them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from gainwright.fixed.biquad_design import butterworth_high_pass
from gainwright.fixed.biquad_quantise import (
    largest_gain,
    noise_gain,
    quantise_section,
    quantise_sections,
    response_error,
    section_error,
)
from gainwright.fixed.biquad_reference import BiquadCoefficients, BiquadReference
from gainwright.fixed.qformat import SIGNAL_LIMIT, QFormat
from gainwright.fixed.section import SecondOrderSection, cascade_response

from ..shared import cookbook

RATE_HZ = 8000.0
Q4_27 = QFormat(4, 27)


@pytest.mark.parametrize("order", [1, 2, 3, 4])
@pytest.mark.parametrize("cutoff_hz", [3.0, 1500.0])
def test_butterworth_equals_scipy(order, cutoff_hz):
    """Same poles and zeros as scipy; only the gain is shared out otherwise among the sections."""
    sections = butterworth_high_pass(order, cutoff_hz, RATE_HZ)
    grid_hz = np.geomspace(2.0, 3900.0, 300)
    expected = signal.butter(order, cutoff_hz, "highpass", fs=RATE_HZ, output="sos")
    _, response = signal.sosfreqz(expected, grid_hz, fs=RATE_HZ)
    ours = cascade_response(sections, grid_hz, RATE_HZ)
    assert np.max(np.abs(ours / response - 1)) < 1e-7
    for section in sections:
        assert abs(section.response(np.array([RATE_HZ / 2]), RATE_HZ)[0]) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((2, 4000.0, RATE_HZ), "half the sample rate"),
        ((2, 0.0, RATE_HZ), "above 0"),
        ((2, math.nan, RATE_HZ), "above 0"),
        ((0, 100.0, RATE_HZ), "order is 0"),
        ((2, 100.0, -1.0), "sample rate"),
    ],
)
def test_impossible_filters_are_refused(arguments, words):
    with pytest.raises(ValueError, match=words):
        butterworth_high_pass(*arguments)


@settings(deadline=None, max_examples=60)
@given(st.floats(2.0, 3500.0), st.floats(1.0, 30.0), st.sampled_from(["low", "high", "band"]))
def test_quantisation_moves_little_and_keeps_exact_zeros(frequency_hz, quality, kind):
    section = getattr(cookbook, f"cookbook_{kind}_pass")(frequency_hz, quality, RATE_HZ)
    quantised = quantise_section(section)
    error = section_error(quantised, RATE_HZ)
    assert error.coefficient_error <= 2 * 2.0**-31
    # A complex pair has the squared radius a2; a real pair near a double pole may move far more.
    assert error.pole_radius[1] ** 2 == pytest.approx(error.pole_radius[0] ** 2, abs=4.7e-10)
    c = quantised.coefficients
    exact = {"low": (c.b0, 2 * c.b0, c.b0), "high": (c.b0, -2 * c.b0, c.b0)}
    assert (c.b0, c.b1, c.b2) == exact.get(kind, (c.b0, 0, -c.b0))
    assert quantised.realised().is_stable()


def test_response_error_is_the_largest_of_the_band():
    """A band-pass at 6 Hz: fine in 30 fraction bits, visibly off in 24, refused in 16."""
    sections = (cookbook.cookbook_band_pass(6.0, 1.0, RATE_HZ),) * 2
    fine = response_error(quantise_sections(sections), RATE_HZ, 1.0, 3000.0)
    coarse = response_error(quantise_sections(sections, QFormat(7, 24)), RATE_HZ, 1.0, 3000.0)
    assert fine.largest_db < 1e-3
    assert coarse.largest_db > 20 * fine.largest_db
    assert 1.0 <= coarse.at_hz <= 3000.0
    # Two words away the difference can be read off one frequency by hand.
    quantised = quantise_sections(sections, QFormat(7, 24))
    both = [
        abs(cascade_response(which, np.array([coarse.at_hz]), RATE_HZ)[0])
        for which in ([q.realised() for q in quantised], sections)
    ]
    assert abs(20 * math.log10(both[0] / both[1])) == pytest.approx(coarse.largest_db, rel=1e-6)
    with pytest.raises(ValueError, match="not stable"):
        quantise_sections(sections, QFormat(15, 10))
    with pytest.raises(ValueError, match="rising"):
        response_error(quantised, RATE_HZ, 10.0, 5.0)


def test_coefficients_that_do_not_fit_are_refused():
    with pytest.raises(ValueError, match=r"b0 = 2\.5 does not fit Q1\.30"):
        quantise_section(SecondOrderSection(2.5, 0.0, 0.0, 0.0, 0.0))
    assert quantise_section(SecondOrderSection(2.5, 0.0, 0.0, 0.0, 0.0), Q4_27).realised().b0 == 2.5


def test_poles_and_zeros():
    section = SecondOrderSection(2.0, -2.0, 0.5, -1.2, 0.72)
    assert sorted(section.poles().tolist(), key=abs) == pytest.approx(
        np.roots([1, -1.2, 0.72]).tolist()
    )
    assert section.zeros().tolist() == pytest.approx([0.5, 0.5])
    real = SecondOrderSection(1.0, 0.0, 0.0, 0.3, -0.4)
    assert sorted(real.poles().real.tolist()) == pytest.approx([-0.8, 0.5])
    assert SecondOrderSection(1.0, 0.0, 0.0, 0.0, 0.0).poles().tolist() == [0, 0]


@settings(deadline=None, max_examples=40)
@given(st.floats(20.0, 3900.0), st.floats(0.3, 20.0))
def test_noise_gain_equals_the_summed_impulse_response(frequency_hz, quality):
    section = cookbook.cookbook_low_pass(frequency_hz, quality, RATE_HZ)
    impulse = np.zeros(20_000)
    impulse[0] = 1.0
    response = signal.lfilter((1.0, -1.0), (1.0, section.a1, section.a2), impulse)
    assert noise_gain(section) == pytest.approx(float(np.sum(response**2)), rel=1e-6)


@pytest.mark.parametrize(("frequency_hz", "quality"), [(4.0, 1.0), (60.0, 3.0), (1500.0, 0.7)])
def test_rounding_noise_is_as_predicted(frequency_hz, quality):
    """Integer filter against the same coefficients in double precision, driven by noise."""
    section = cookbook.cookbook_band_pass(frequency_hz, quality, RATE_HZ)
    quantised = quantise_section(section)
    error = section_error(quantised, RATE_HZ)
    rng = np.random.default_rng(5)
    samples = rng.integers(-(2**24), 2**24, 60_000)
    reference = BiquadReference(quantised.coefficients)
    out = np.array(reference.run(map(int, samples)), dtype=float)
    real = quantised.realised()
    exact = signal.lfilter((real.b0, real.b1, real.b2), (1.0, real.a1, real.a2), samples * 1.0)
    deviation = out - exact
    assert np.max(np.abs(deviation)) <= error.dead_band_lsb
    # The slow filters have few independent samples of their noise in this time.
    assert 0.5 < float(np.std(deviation[5000:])) / error.noise_rms_lsb < 1.6


@settings(deadline=None, max_examples=30)
@given(
    st.floats(30.0, 3000.0),
    st.floats(0.5, 8.0),
    st.integers(-(2**20), 2**20),
    st.integers(-(2**20), 2**20),
)
def test_limit_cycles_stay_in_the_dead_band(frequency_hz, quality, y1, y2):
    """Left alone from any state, the output ends within the stated band."""
    quantised = quantise_section(cookbook.cookbook_band_pass(frequency_hz, quality, RATE_HZ))
    reference = BiquadReference(quantised.coefficients, y1=y1, y2=y2)
    tail = reference.run([0] * 8000)[-500:]
    assert max(map(abs, tail)) <= section_error(quantised, RATE_HZ).dead_band_lsb + 1


def test_full_scale_step_saturates_and_recovers():
    """An overshooting low-pass at the limit: held there without wrapping, right afterwards."""
    quantised = quantise_section(cookbook.cookbook_low_pass(400.0, 3.0, 4000.0))
    assert largest_gain(quantised.realised()) > 2
    out = BiquadReference(quantised.coefficients).run([SIGNAL_LIMIT] * 400)
    assert max(out) == SIGNAL_LIMIT
    assert min(out) > 0
    assert out[-1] == pytest.approx(SIGNAL_LIMIT, abs=10)


def test_largest_gain_is_reached_by_the_worst_input():
    """The input that follows the sign of the reversed impulse response (textbook result)."""
    section = quantise_section(cookbook.cookbook_band_pass(250.0, 5.0, RATE_HZ))
    real = section.realised()
    impulse = np.zeros(3000)
    impulse[0] = 1.0
    response = signal.lfilter((real.b0, real.b1, real.b2), (1.0, real.a1, real.a2), impulse)
    worst = [int(2**24 * math.copysign(1, h)) for h in response[::-1]]
    out = BiquadReference(section.coefficients).run(worst)
    assert out[-1] / 2**24 == pytest.approx(largest_gain(real), rel=1e-4)


def test_saved_fraction_stays_in_its_range():
    reference = BiquadReference(BiquadCoefficients(123456789, -2, 3, 1073741823, -5))
    rng = np.random.default_rng(1)
    for x in rng.integers(-(2**31), 2**31, 500):
        reference.step(int(x))
        assert 0 <= reference.fraction < 2**30


def test_pole_too_near_the_unit_circle_is_refused():
    section = quantise_section(SecondOrderSection(1.0, 0.0, 0.0, -(1 - 2.0**-30), 0.0))
    with pytest.raises(ValueError, match="too near one"):
        section_error(section, RATE_HZ)
