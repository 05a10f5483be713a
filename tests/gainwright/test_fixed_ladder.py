"""The gain ladder as a fixed-point table."""

from __future__ import annotations

from decimal import Decimal, getcontext
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainwright.fixed.ladder import gain_ladder


@given(
    st.floats(1e-6, 10.0), st.floats(1.02, 1.25), st.integers(1, 100), st.integers(0, 10_000_000)
)
def test_words_rise_fit_and_keep_the_bound(start, ratio, rungs, pick):
    try:
        ladder = gain_ladder(start, ratio, rungs)
    except ValueError:
        assert start * ratio ** (rungs - 1) > 2e5  # only very high ladders are refused here
        return
    assert all(low < high for low, high in pairwise(ladder.raw))
    # The finest format: the top rung uses the highest bit of the 32-bit word, or all 62 fractions.
    assert 2**30 <= ladder.raw[-1] < 2**31
    getcontext().prec = 60
    rung = pick % rungs
    exact = Decimal(start) * Decimal(ratio) ** rung
    error = abs(Decimal(ladder.raw[rung]) / 2**ladder.format.fraction_bits / exact - 1)
    assert float(error) <= ladder.relative_error_bound * (1 + 1e-12)
    half_unit = 0.5 * ladder.format.resolution / ladder.values()[0]
    assert ladder.relative_error_bound <= half_unit * (1 + 1e-6)


def test_known_ladder():
    """Doubling from one: the powers of two themselves, in the format of the largest."""
    ladder = gain_ladder(1.0, 2.0, 5)
    assert str(ladder.format) == "Q5.26"
    assert ladder.values() == (1.0, 2.0, 4.0, 8.0, 16.0)
    assert ladder.raw[-1] == 2**30
    assert ladder.relative_error_bound == 0.0


def test_top_rung_that_rounds_up_takes_the_next_coarser_format():
    assert str(gain_ladder(2.0 - 2.0**-40, 1.5, 1).format) == "Q2.29"
    assert str(gain_ladder(2.0 - 2.0**-30, 1.5, 1).format) == "Q1.30"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((0.0, 1.1, 10), "finite start above 0"),
        ((-1.0, 1.1, 10), "finite start above 0"),
        ((float("nan"), 1.1, 10), "finite start above 0"),
        ((1.0, 1.0, 10), "finite ratio above 1"),
        ((1.0, float("nan"), 10), "finite ratio above 1"),
        ((1.0, 1.1, 0), "1 to 128"),
        ((1.0, 1.1, 129), "1 to 128"),
        ((1.0, 1.5, 128), "does not fit"),
        ((1e-9, 1.3, 120), "coincide"),
        ((1.0, 1.18, 128), "coincide"),  # the lowest words would be 1, 1, 1, 2
        ((float("inf"), 1.1, 10), "finite"),
        ((1.0, float("inf"), 10), "finite"),
    ],
)
def test_impossible_ladders_are_refused(arguments, words):
    with pytest.raises(ValueError, match=words):
        gain_ladder(*arguments)
