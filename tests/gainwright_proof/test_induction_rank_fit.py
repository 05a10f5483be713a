"""Ranks in whole numbers, where the cheapest ranks are halves."""

from __future__ import annotations

import pytest

from gainwright.language.expression import Choice, Integer, Reference
from gainwright_proof.induction.rank_fit import NoRankError, RankFit
from gainwright_proof.induction.ranking import Feature

NAMES = ("a", "b", "c")
PAIRS = [{n: int(n != absent) for n in NAMES} for absent in NAMES]
"""Moments with two of three: ranks of at least 1 there are cheapest with a half for each."""
NOTHING = dict.fromkeys(NAMES, 0)


def _flag(name: str) -> Feature:
    return Feature(Choice(Reference(name), Integer(1), Integer(0)), name, 1)


def _fit() -> RankFit:
    fit = RankFit({"s": [_flag(name) for name in NAMES]})
    fit.add_start("s", NOTHING)
    for moment in PAIRS:
        fit.add_pending("s", moment)
    return fit


def _rank_at(rank, moment) -> int:
    return rank.constant + sum(t.factor * moment[t.feature.title] for t in rank.terms)


def test_halves_are_rounded_to_what_fails():
    _, ranks = _fit().fit(0, exact=False)
    assert min(_rank_at(ranks["s"], moment) for moment in PAIRS) < 1


def test_whole_numbers_keep_every_inequality():
    fit = _fit()
    assert fit.least_greatest() == 0
    greatest, ranks = fit.fit(0, exact=True)
    assert greatest == 0
    assert _rank_at(ranks["s"], NOTHING) <= 0
    assert min(_rank_at(ranks["s"], moment) for moment in PAIRS) >= 1


def test_greatest_rank_of_halves_is_found_and_none_of_whole_numbers():
    """Four times three halves: 6, and 8 in whole numbers, which is more than 6 and the one more
    that whole numbers may need."""
    names = [f"{name}{i}" for i in range(4) for name in NAMES]
    none, every = dict.fromkeys(names, 0), dict.fromkeys(names, 1)
    fit = RankFit({"s": [_flag(name) for name in names]})
    for i in range(4):
        for pair in PAIRS:
            # The rank of nothing is at least 1, and that of each two is above it.
            fit.add_tick("s", none | {f"{n}{i}": v for n, v in pair.items()}, "s", none)
    fit.add_start("s", every)
    assert fit.least_greatest() == pytest.approx(7)
    with pytest.raises(NoRankError):
        fit.fit(7, exact=True)
    greatest, ranks = fit.fit(9, exact=True)
    assert greatest == _rank_at(ranks["s"], every) == 9
