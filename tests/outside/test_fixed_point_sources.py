"""Fixed point and biquads against the C standard, CMSIS-DSP, and published filters."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from gainwright.fixed import arithmetic
from gainwright.fixed.biquad_quantise import quantise_section, section_error
from gainwright.fixed.biquad_reference import BiquadCoefficients, BiquadReference
from gainwright.fixed.qformat import COEFFICIENT, Q15, Q31, SIGNAL_LIMIT, QFormat, Rounding
from gainwright.fixed.section import SecondOrderSection, root_frequency_hz
from gainwright_codegen.host import compile_shared, load_library

from ..shared.cookbook import cookbook_band_pass, cookbook_low_pass, cookbook_notch

MIN15, MIN31, MAX31 = -(2**15), -(2**31), 2**31 - 1


@pytest.fixture(scope="module")
def dsp():
    """CMSIS-DSP as the Python package cmsisdsp 1.10.3; its q31 multiply is due to change."""
    return pytest.importorskip("cmsisdsp", reason="the fixed-point reference cmsisdsp is missing")


def words16(*values: int) -> np.ndarray:
    return np.array(values, dtype=np.int16)


def words32(*values: int) -> np.ndarray:
    return np.array(values, dtype=np.int32)


# --- C semantics: ISO/IEC 9899:1999 (from memory) --------------------------------------------


def test_c_division_truncates_while_our_shift_floors():
    """6.5.5p6: -3 / 2 is -1 in C; 6.5.7p5 leaves -3 >> 1 to the implementation; ours is -2."""
    source = {"divide.c": "int divide(int a, int b);\nint divide(int a, int b) { return a / b; }\n"}
    path = compile_shared(source, name="division")
    _, lib = load_library(path, "int divide(int a, int b);")
    assert lib.divide(-3, 2) == -1
    assert arithmetic.floor_shift(-3, 1) == -2
    assert [lib.divide(value, 4) for value in (7, -7, -8)] == [1, -1, -2]
    assert [arithmetic.floor_shift(value, 2) for value in (7, -7, -8)] == [1, -2, -2]


def test_operations_that_c_leaves_undefined_are_defined_here():
    """6.5p5 signed overflow, INT_MIN negated; 6.3.1.3p3 out-of-range conversion."""
    assert arithmetic.add(MAX31, 1) == MAX31
    assert arithmetic.subtract(MIN31, 1) == MIN31
    assert arithmetic.negate(MIN31) == MAX31
    assert arithmetic.absolute(MIN31) == MAX31
    assert arithmetic.saturate(2**40) == MAX31
    assert arithmetic.shift_left(-3, 30) == MIN31


# --- CMSIS-DSP 1.10.3, bit exact ---------------------------------------------------------------


def q31_product(a: int, b: int) -> int:
    """The library's q31 product out of our functions: shift 32, clip to 31 bits, shift back."""
    return arithmetic.shift_left(arithmetic.multiply_floor(a, b, 32, word_bits=31), 1)


def test_q15_products(dsp):
    """Ours with 15 fraction bits and a 16-bit word is the library's, known and random values."""
    a, b = words16(MIN15, 32767, -1, 3, -3), words16(MIN15, 32767, 1, 16384, 16384)
    ours = [arithmetic.multiply_floor(int(x), int(y), 15, 16) for x, y in zip(a, b, strict=True)]
    assert ours == [32767, 32766, -1, 1, -2]
    assert ours == dsp.arm_mult_q15(a, b).tolist()
    rng = np.random.default_rng(3)
    a, b = rng.integers(MIN15, 2**15, (2, 5000)).astype(np.int16)
    ours = [arithmetic.multiply_floor(int(x), int(y), 15, 16) for x, y in zip(a, b, strict=True)]
    assert ours == dsp.arm_mult_q15(a, b).tolist()


def test_q31_products(dsp):
    """The library clears the lowest bit; its value is within two units of ours in full width."""
    a = words32(MIN31, MAX31, -1, 3, -3, 0x12345678)
    b = words32(MIN31, MAX31, 1, 2**30, 2**30, 0x7FFFFFFF)
    known = [0x7FFFFFFE, 0x7FFFFFFE, -2, 0, -2, 305419894]
    assert dsp.arm_mult_q31(a, b).tolist() == known
    assert [q31_product(int(x), int(y)) for x, y in zip(a, b, strict=True)] == known
    rng = np.random.default_rng(4)
    a, b = rng.integers(MIN31, 2**31, (2, 5000)).astype(np.int32)
    theirs = dsp.arm_mult_q31(a, b).tolist()
    pairs = [(int(x), int(y)) for x, y in zip(a, b, strict=True)]
    assert [q31_product(*pair) for pair in pairs] == theirs
    assert all(
        0 <= arithmetic.multiply_floor(*pair, 31) - word <= 1
        for pair, word in zip(pairs, theirs, strict=True)
    )


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        (lambda a, b: arithmetic.add(a, b), "arm_add_q31"),
        (lambda a, b: arithmetic.subtract(a, b), "arm_sub_q31"),
        (lambda a, b: arithmetic.add(a, b, 16), "arm_add_q15"),
        (lambda a, b: arithmetic.subtract(a, b, 16), "arm_sub_q15"),
    ],
)
def test_saturating_sums(dsp, ours, theirs):
    low, high, kind = (
        (MIN15, 2**15, np.int16) if theirs.endswith("15") else (MIN31, 2**31, np.int32)
    )
    rng = np.random.default_rng(5)
    a, b = rng.integers(low, high, (2, 5000)).astype(kind)
    a[:4], b[:4] = (low, low, high - 1, high - 1), (low, high - 1, low, high - 1)
    expected = getattr(dsp, theirs)(a, b).tolist()
    assert [ours(int(x), int(y)) for x, y in zip(a, b, strict=True)] == expected


def test_magnitude_and_negation(dsp):
    values = words32(MIN31, MIN31 + 1, -1, 0, 1, MAX31)
    assert dsp.arm_abs_q31(values).tolist() == [arithmetic.absolute(int(v)) for v in values]
    assert dsp.arm_negate_q31(values).tolist() == [arithmetic.negate(int(v)) for v in values]
    assert arithmetic.absolute(MIN31) == arithmetic.negate(MIN31) == 2147483647


def test_shifts(dsp):
    values = [3, -3, 1, -1]
    assert [arithmetic.floor_shift(v, 1) for v in values] == [1, -2, 0, -1]
    rng = np.random.default_rng(6)
    many = words32(*values, MIN31, MAX31, *rng.integers(MIN31, 2**31, 1000))
    for bits in (1, 7, 30):
        ours = [arithmetic.floor_shift(int(v), bits) for v in many]
        assert dsp.arm_shift_q31(many, -bits).tolist() == ours
        ours = [arithmetic.shift_left(int(v), bits) for v in many]
        assert dsp.arm_shift_q31(many, bits).tolist() == ours


def test_conversion_from_real_numbers(dsp):
    """0.1 in q15 is 3276 (toward zero), though 3276.8 is nearer to 3277."""
    real = np.array([0.1, -0.1, 0.999999, -1.0, 1.0, -2.0, 1.9], dtype=np.float32)
    ours = [Q15.quantise(float(v), Rounding.TOWARD_ZERO) for v in real]
    assert ours[:2] == [3276, -3276]
    assert dsp.arm_float_to_q15(real).tolist() == ours
    assert Q15.quantise(0.1) == 3277
    small = np.array([1.5 * 2**-31, -1.5 * 2**-31, 0.3, -0.7], dtype=np.float32)
    ours = [Q31.quantise(float(v), Rounding.TOWARD_ZERO) for v in small]
    assert ours[:2] == [1, -1]
    assert dsp.arm_float_to_q31(small).tolist() == ours


def test_dot_products(dsp):
    """34.30 and 16.48 accumulators: sums of our products before any narrowing."""
    low15, low31 = words16(*[MIN15] * 4), words32(*[MIN31] * 2)
    assert dsp.arm_dot_prod_q15(low15, low15) == 4 * MIN15**2 == 4294967296
    ours = sum(arithmetic.floor_shift(MIN31 * MIN31, 14) for _ in range(2))
    assert dsp.arm_dot_prod_q31(low31, low31) == ours == 562949953421312


LOW_PASS = (72429549, 144859098, 72429549, 1227265970, -443242341)


def library_biquad(dsp, words, samples) -> list[int]:
    """DF1 q31, one section, post shift 1: coefficients are Q1.30 words like ours."""
    instance = dsp.arm_biquad_casd_df1_inst_q31()
    state = np.zeros(4, dtype=np.int32)
    dsp.arm_biquad_cascade_df1_init_q31(instance, 1, words32(*words), state, 1)
    return dsp.arm_biquad_cascade_df1_q31(instance, words32(*samples)).tolist()


def truncating_wrapping_biquad(words, samples) -> list[int]:
    """The library's arithmetic: 64-bit sum that wraps, floor, low 32 bits, no saturation."""
    b0, b1, b2, a1, a2 = words
    x1 = x2 = y1 = y2 = 0
    out = []
    for x in map(int, samples):
        total = b0 * x + b1 * x1 + b2 * x2 + a1 * y1 + a2 * y2
        wrapped = (total + 2**63) % 2**64 - 2**63
        y = (arithmetic.floor_shift(wrapped, 30) + 2**31) % 2**32 - 2**31
        x1, x2, y1, y2 = x, x1, y, y1
        out.append(y)
    return out


def test_low_pass_words_follow_from_the_cookbook():
    """fs 4000 Hz, f0 400 Hz, Q 1/sqrt(2), rounded half up to Q1.30."""
    made = quantise_section(
        cookbook_low_pass(400.0, 1 / math.sqrt(2), 4000.0)
    ).coefficients.as_tuple()
    assert made == LOW_PASS


def test_biquad_impulse_response(dsp):
    impulse = [2**29, *[0] * 7]
    known = [
        36214774, 113822329, 151361960, 126017729, 81553348, 41193566, 13418090, -1668155,
    ]  # fmt: skip
    assert library_biquad(dsp, LOW_PASS, impulse) == known
    assert truncating_wrapping_biquad(LOW_PASS, impulse) == known
    # Ours limits the input to 2^28 - 1 and saves what it rounds off: half the response,
    # apart from one unit of input and the rounding.
    ours = BiquadReference(BiquadCoefficients(*LOW_PASS)).run([2**28 - 1, *[0] * 7])
    assert ours == pytest.approx([word / 2 for word in known], abs=4)


def test_biquad_against_the_library_on_noise(dsp):
    """Same model bit for bit; ours differs only by the rounding, and by no more than its bound."""
    rng = np.random.default_rng(7)
    samples = rng.integers(-(2**27), 2**27, 2000).tolist()
    theirs = library_biquad(dsp, LOW_PASS, samples)
    assert truncating_wrapping_biquad(LOW_PASS, samples) == theirs
    coefficients = BiquadCoefficients(*LOW_PASS)
    ours = BiquadReference(coefficients).run(samples)
    b0, b1, b2, a1, a2 = (COEFFICIENT.to_float(c) for c in LOW_PASS)
    quantised = quantise_section(SecondOrderSection(b0, b1, b2, -a1, -a2))
    assert quantised.coefficients == coefficients
    # Truncation errs by up to one unit each time, which enters through 1 / A(z).
    impulse = [1.0, *[0.0] * 500]
    truncation = np.sum(np.abs(lfilter([1.0], [1.0, -a1, -a2], impulse)))
    bound = truncation + section_error(quantised, 4000.0).dead_band_lsb
    assert 0 < max(abs(x - y) for x, y in zip(ours, theirs, strict=True)) <= bound


def test_biquad_equals_the_library_where_nothing_is_rounded(dsp):
    """Coefficients of whole numbers: bit identical as long as nothing saturates."""
    rng = np.random.default_rng(8)
    for _ in range(50):
        words = (rng.integers(-1, 2, 5) * 2**30).tolist()
        samples = rng.integers(-1000, 1000, 20).tolist()
        ours = BiquadReference(BiquadCoefficients(*words)).run(samples)
        theirs = library_biquad(dsp, words, samples)
        limit = [y for y in theirs if abs(y) > SIGNAL_LIMIT]
        assert not limit
        assert ours == theirs


def test_overload_wraps_in_the_library_and_saturates_here(dsp):
    """Full-scale step: the library's sixth output turns negative; ours stays at its limit."""
    theirs = library_biquad(dsp, LOW_PASS, [MAX31] * 6)
    assert theirs[5] == -2094312431
    assert truncating_wrapping_biquad(LOW_PASS, [MAX31] * 6) == theirs
    ours = BiquadReference(BiquadCoefficients(*LOW_PASS)).run([MAX31] * 40)
    assert max(ours) == SIGNAL_LIMIT
    assert min(ours) > 0

    accumulator = (2**30, 0, 0, 2**30, 0)
    step = [2**30] * 4
    assert library_biquad(dsp, accumulator, step) == [2**30, -(2**31), -(2**30), 0]
    ours = BiquadReference(BiquadCoefficients(*accumulator)).run([2**27] * 4)
    assert ours == [2**27, SIGNAL_LIMIT, SIGNAL_LIMIT, SIGNAL_LIMIT]


def test_accumulator_in_q15_saturates_in_the_library_as_ours_does(dsp):
    instance = dsp.arm_biquad_casd_df1_inst_q15()
    state = np.zeros(4, dtype=np.int16)
    # The q15 form has a zero word between b0 and b1.
    coefficients = words16(2**14, 0, 0, 0, 2**14, 0)
    dsp.arm_biquad_cascade_df1_init_q15(instance, 1, coefficients, state, 1)
    theirs = dsp.arm_biquad_cascade_df1_q15(instance, words16(*[20000] * 4)).tolist()
    ours, y = [], 0
    for _ in range(4):
        y = arithmetic.add(20000, y, word_bits=16)
        ours.append(y)
    assert ours == theirs == [20000, 32767, 32767, 32767]


# --- Coefficient quantisation and limit cycles (values computed for this project) --------------


def quantised_to(section: SecondOrderSection, fraction_bits: int) -> SecondOrderSection:
    q_format = QFormat(1, fraction_bits)
    values = (section.b0, section.b1, section.b2, section.a1, section.a2)
    return SecondOrderSection(*(q_format.to_float(q_format.quantise(value)) for value in values))


def test_a_low_notch_needs_more_than_14_fraction_bits():
    """fs 8 kHz, f0 3.5 Hz, Q 1: zero at 9.954 Hz and a pole on the unit circle; refused by us."""
    notch = cookbook_notch(3.5, 1.0, 8000.0)
    coarse = quantised_to(notch, 14)
    assert root_frequency_hz(coarse.zeros()[0], 8000.0) == pytest.approx(9.954, abs=5e-4)
    assert abs(coarse.poles()[0]) == pytest.approx(1.0, abs=5e-7)
    with pytest.raises(ValueError, match="not stable"):
        quantise_section(notch, QFormat(1, 14))
    fine = quantise_section(notch)
    zero_hz = root_frequency_hz(fine.realised().zeros()[0], 8000.0)
    assert zero_hz == pytest.approx(3.4999, abs=5e-5)
    assert section_error(fine, 8000.0).pole_radius[1] == pytest.approx(0.99862650, abs=5e-9)


def test_a_notch_ten_times_higher_is_less_sensitive():
    coarse = quantise_section(cookbook_notch(35.0, 1.0, 8000.0), QFormat(1, 14)).realised()
    assert root_frequency_hz(coarse.zeros()[0], 8000.0) == pytest.approx(34.695, abs=5e-4)


def test_truncation_sticks_at_minus_ten_where_a_saved_fraction_ends_at_one_or_less():
    """y = x + 0.9 y1: floor ends at 0 or at -10, rounding at 0.5 / (1 - 0.9) = 5 or -5."""
    nine_tenths = COEFFICIENT.quantise(0.9)
    ends = {}
    for start in (1000, -1000):
        y = start
        for _ in range(500):
            y = arithmetic.multiply_floor(nine_tenths, y, 30)
        ends[start] = y
    assert ends == {1000: 0, -1000: -10}

    coefficients = BiquadCoefficients(2**30, 0, 0, nine_tenths, 0)
    for start in (1000, -1000):
        out = BiquadReference(coefficients).run([start, *[0] * 500])
        assert max(map(abs, out[-100:])) <= 1
    section = quantise_section(SecondOrderSection(1.0, 0.0, 0.0, -0.9, 0.0))
    # The sum of the magnitudes of (1 - 1/z) / (1 - 0.9/z) is 1 + 0.1 (1 + 0.9 + ...) = 2.
    assert section_error(section, 8000.0).dead_band_lsb == pytest.approx(1.0, rel=1e-5)


# --- Bristow-Johnson, Audio EQ Cookbook, W3C Note 8 June 2021 ----------------------------------


@pytest.mark.parametrize(
    ("section", "published"),
    [
        (
            cookbook_low_pass(1000.0, 1 / math.sqrt(2), 48000.0),
            (0.003916127, 0.007832253, 0.003916127, -1.815341083, 0.831005589),
        ),
        (
            cookbook_notch(250.0, 2.0, 8000.0),
            (0.953495561, -1.870348822, 0.953495561, -1.870348822, 0.906991122),
        ),
        (
            cookbook_band_pass(250.0, 5.0, 8000.0),
            (0.019135713, 0.0, -0.019135713, -1.924034510, 0.961728574),
        ),
    ],
    ids=["low-pass", "notch", "band-pass"],
)
def test_cookbook_filters(section, published):
    found = (section.b0, section.b1, section.b2, section.a1, section.a2)
    assert found == pytest.approx(published, abs=1e-9)
