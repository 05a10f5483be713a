"""Q formats, integer arithmetic and per-unit scaling."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainwright.fixed import arithmetic
from gainwright.fixed.qformat import (
    COEFFICIENT,
    Q15,
    Q31,
    SIGNAL,
    SIGNAL_LIMIT,
    QFormat,
    Rounding,
)
from gainwright.fixed.scaling import signals_per_unit, signals_raw

formats = st.builds(QFormat, st.integers(-5, 20), st.integers(8, 40))
reals = st.floats(-(2.0**21), 2.0**21)


@pytest.mark.parametrize(
    ("q_format", "name", "word_bits", "lowest", "highest"),
    [
        (Q15, "Q0.15", 16, -32768, 32767),
        (Q31, "Q0.31", 32, -(2**31), 2**31 - 1),
        (COEFFICIENT, "Q1.30", 32, -(2**31), 2**31 - 1),
        (SIGNAL, "Q4.24", 29, -(2**28), 2**28 - 1),
        (QFormat(-4, 35), "Q-4.35", 32, -(2**31), 2**31 - 1),
    ],
)
def test_range_of_a_format(q_format, name, word_bits, lowest, highest):
    """-2^m to 2^m - 2^-n, sign not counted in m (ISO/IEC TR 18037:2008, from memory)."""
    assert str(q_format) == name
    assert (q_format.word_bits, q_format.lowest, q_format.highest) == (word_bits, lowest, highest)
    assert q_format.to_float(q_format.lowest) == -(2.0**q_format.integer_bits)


@pytest.mark.parametrize(
    ("lsb", "half_up", "floor", "toward_zero"),
    [
        (0.5, 1, 0, 0),
        (-0.5, 0, -1, 0),
        (1.5, 2, 1, 1),
        (-1.5, -1, -2, -1),
        (math.nextafter(0.5, 0), 0, 0, 0),
        (math.nextafter(-0.5, -1), -1, -1, 0),
        (-1e-300, 0, -1, 0),
    ],
)
def test_rounding(lsb, half_up, floor, toward_zero):
    value = Fraction(lsb) / 2**24
    assert SIGNAL.quantise(value) == half_up
    assert SIGNAL.quantise(value, Rounding.FLOOR) == floor
    assert SIGNAL.quantise(value, Rounding.TOWARD_ZERO) == toward_zero
    assert signals_raw([float(value)])[0] == half_up


@given(formats, reals, st.sampled_from(Rounding))
def test_quantisation_error_is_within_its_bound_or_saturated(q_format, value, rounding):
    raw = q_format.quantise(value, rounding)
    assert q_format.lowest <= raw <= q_format.highest
    if q_format.lowest < raw < q_format.highest:
        # Half a unit in the last place, or one that is never quite reached.
        units = Fraction(1, 2) if rounding is Rounding.HALF_UP else 1
        bound = units * Fraction(q_format.resolution)
        assert abs(q_format.to_float(raw) - Fraction(value)) <= bound
        assert q_format.holds(value)
    if value >= 2.0**q_format.integer_bits:
        assert raw == q_format.highest
        assert not q_format.holds(value)


@given(formats, st.data())
def test_every_word_comes_back(q_format, data):
    raw = data.draw(st.integers(q_format.lowest, q_format.highest))
    assert all(q_format.quantise(q_format.to_float(raw), rounding) == raw for rounding in Rounding)


def test_infinity_saturates_and_nan_is_refused():
    assert Q31.quantise(math.inf) == Q31.highest
    assert Q31.quantise(-math.inf) == Q31.lowest
    assert not Q31.holds(math.inf)
    for refuse in (Q31.quantise, lambda value: signals_raw([0.0, value])):
        with pytest.raises(ValueError, match="NaN"):
            refuse(math.nan)


@pytest.mark.parametrize("bits", [(0, -1), (0, 63), (-30, 30), (40, 30)])
def test_impossible_formats_are_refused(bits):
    with pytest.raises(ValueError, match="bits"):
        QFormat(*bits)


@given(st.integers(-(2**80), 2**80), st.integers(1, 90))
def test_shifts_against_exact_fractions(value, bits):
    exact = Fraction(value, 2**bits)
    assert arithmetic.floor_shift(value, bits) == math.floor(exact)
    assert arithmetic.round_shift(value, bits) == math.floor(exact + Fraction(1, 2))


@given(st.integers(-(2**31), 2**31 - 1), st.integers(-(2**31), 2**31 - 1))
def test_saturating_arithmetic_against_exact_integers(a, b):
    limited = {
        arithmetic.add(a, b): a + b,
        arithmetic.subtract(a, b): a - b,
        arithmetic.negate(a): -a,
        arithmetic.absolute(a): abs(a),
        arithmetic.shift_left(a, 3): 8 * a,
        arithmetic.multiply_floor(a, b, 20): math.floor(Fraction(a * b, 2**20)),
        arithmetic.multiply_round(a, b, 20): math.floor(Fraction(a * b, 2**20) + Fraction(1, 2)),
    }
    for result, exact in limited.items():
        assert result == sorted((-(2**31), exact, 2**31 - 1))[1]


@given(st.floats(allow_nan=False))
def test_array_and_single_conversion_agree(value):
    raw = arithmetic.clamp(SIGNAL.quantise(value), -SIGNAL_LIMIT, SIGNAL_LIMIT)
    assert signals_raw([value])[0] == raw
    assert abs(raw) <= SIGNAL_LIMIT
    assert signals_per_unit([raw])[0] == SIGNAL.to_float(raw)


def test_arrays_keep_their_shape():
    assert signals_raw(np.zeros((3, 2))).shape == (3, 2)
    assert signals_raw([0.0]).dtype == np.int32
