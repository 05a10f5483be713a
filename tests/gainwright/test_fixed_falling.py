"""The short form of ladders: every word comes back, and what is no such series is refused."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from gainwright.fixed.falling import GROUP, FallingWords, falling_words
from gainwright.fixed.ladder import gain_ladder

RATIO = st.floats(1.0005, 6.0)


def back(short: FallingWords, count: int) -> tuple[int, ...]:
    return tuple(short.word(k) for k in range(count))


@given(st.floats(1e-6, 1e6), RATIO, st.integers(1, 128))
@settings(max_examples=100)
def test_every_word_of_a_ladder_comes_back(start, ratio, rungs):
    try:
        words = gain_ladder(start, ratio, rungs).raw[::-1]
    except ValueError:
        assume(False)
    short = falling_words(words, (1 / ratio,))
    assert back(short, rungs) == words
    numbers = (*short.steps, *short.within, *short.one_more)
    assert len(short.within) == GROUP and all(0 <= number < 2**32 for number in numbers)


@given(
    st.integers(0, 2**24), st.floats(0.01, 100.0), st.floats(1.001, 1.3), st.integers(1, 128),
    st.sampled_from((1.0, 0.5)),
)  # fmt: skip
@settings(max_examples=200)
def test_heights_that_stay_and_then_fall_come_back(most, passed, ratio, rungs, power):
    words = tuple(round(most * min(1.0, (passed * ratio**k) ** -power)) for k in range(rungs))
    short = falling_words(words, (1 / ratio, math.sqrt(1 / ratio)))
    assert back(short, rungs) == words


def test_what_falls_by_another_ratio_is_refused():
    words = gain_ladder(1.0, 1.045, 128).raw[::-1]
    with pytest.raises(ValueError, match="do not fall by one ratio"):
        falling_words(words, (1 / 1.046,))
    # One word that is off by two has no step; off by one it is no matter of the ratio.
    changed = (*words[:40], words[40] - 2, *words[41:])
    with pytest.raises(ValueError, match="do not fall by one ratio"):
        falling_words(changed, (1 / 1.045,))
