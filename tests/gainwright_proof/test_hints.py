"""A search that was made before is not made again, and what it found is believed by nobody."""

from __future__ import annotations

import dataclasses
import pickle
import tomllib

import pytest

from gainwright.language.expression import Boolean
from gainwright.language.load import trial_from_document
from gainwright_codegen.host.cache import cache_directory, scratch_cache
from gainwright_proof.induction import hints as hints_module
from gainwright_proof.induction import prove as prove_module
from gainwright_proof.induction.facts import FactFinder
from gainwright_proof.induction.hints import Hints
from gainwright_proof.induction.prove import prove
from gainwright_proof.induction.rank_fit import NoRankError
from gainwright_proof.induction.rank_search import Ranking, RankSearch
from gainwright_proof.remembered import nothing_remembered
from gainwright_proof.verdict import HOLDS

from ..shared.small_trial import SMALL

TRIAL = trial_from_document(tomllib.loads(SMALL), "small.toml")


@pytest.fixture(autouse=True)
def _every_search_is_kept(monkeypatch):
    monkeypatch.setattr(prove_module, "_WORTH_KEEPING_S", 0.0)
    with scratch_cache():
        yield


def kept():
    (path,) = cache_directory().glob("hints-*/hints")
    return path


def found(proof):
    return [(f.subject, f.verdict, f.detail) for f in proof.findings]


def test_what_was_found_is_not_searched_again_and_the_proof_is_the_same(monkeypatch):
    first = prove(TRIAL)
    monkeypatch.setattr(FactFinder, "search", None)
    monkeypatch.setattr(FactFinder, "support", None)
    monkeypatch.setattr(RankSearch, "ranking", None)
    again = prove(TRIAL)
    assert found(first) == found(again)
    assert first.obligations == again.obligations
    assert any(f.verdict in HOLDS for f in first.findings)


def test_that_there_are_no_ranks_is_not_searched_again_either(monkeypatch):
    """A bound that is too short has none; a run refutes it, which is looked for again."""
    text = SMALL.replace('within_ticks = "patience + 1"', "within_ticks = 1")
    assert text != SMALL
    trial = trial_from_document(tomllib.loads(text), "small.toml")
    first = prove(trial)
    assert any(isinstance(v, NoRankError) for v in pickle.loads(kept().read_bytes()).values())
    monkeypatch.setattr(RankSearch, "ranking", None)
    assert found(first) == found(prove(trial))


def test_all_is_searched_again_where_nothing_is_to_be_believed(monkeypatch):
    prove(TRIAL)
    monkeypatch.setattr(FactFinder, "search", None)
    with nothing_remembered(), pytest.raises(TypeError):
        prove(TRIAL)


def test_another_trial_and_another_searcher_have_hints_of_their_own(monkeypatch):
    prove(TRIAL)
    assert Hints(TRIAL).given
    fewer = dataclasses.replace(TRIAL, requirements=TRIAL.requirements[1:])
    assert not Hints(fewer).given
    monkeypatch.setattr(hints_module, "_sources", lambda: "changed")
    assert not Hints(TRIAL).given


WRONG = {
    "needed": lambda known: {},
    "facts under premises": lambda known: (known[0], {s: [Boolean(False)] for s in known[1]}),
    "ranks": lambda known: Ranking(known.course, 1, known.ranks),
    "closure": lambda known: {},
}


@pytest.mark.parametrize(
    "kinds",
    [*(pytest.param((kind,), marks=pytest.mark.slow) for kind in WRONG), tuple(WRONG)],
)
def test_wrong_hints_prove_nothing_and_cost_only_time(kinds, monkeypatch):
    """Facts that do not hold, questions that need none, ranks that do not fall; one kind at a time
    and all together, so that they do not belong together either."""
    first = prove(TRIAL)
    known = pickle.loads(kept().read_bytes())
    assert {key[0] for key in known} >= set(WRONG)
    wrong = {k: WRONG[k[0]](value) if k[0] in kinds else value for k, value in known.items()}
    monkeypatch.setattr(hints_module, "find", lambda *_: kept())
    monkeypatch.setattr(hints_module.pickle, "loads", lambda _: wrong)
    again = prove(TRIAL)
    assert found(first) == found(again)
    assert first.obligations == again.obligations


def test_damaged_hints_are_no_hints():
    prove(TRIAL)
    kept().write_bytes(b"\x80" + kept().read_bytes()[:40])
    assert not Hints(TRIAL).given
    assert prove(TRIAL).findings
