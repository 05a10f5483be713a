"""Induction in a process of its own finds the same, and gives up what exploration refuted."""

from __future__ import annotations

import dataclasses
import tomllib

import pytest

from gainwright.language.load import trial_from_document
from gainwright_proof.induction.apart import Apart, ApartError, BesideExploration
from gainwright_proof.induction.prove import prove
from gainwright_proof.remembered import nothing_remembered

from ..shared.small_trial import SMALL

TRIAL = trial_from_document(tomllib.loads(SMALL), "small.toml")


@pytest.fixture(autouse=True)
def _all_is_searched():
    with nothing_remembered():
        yield


@pytest.mark.slow
def test_it_finds_what_a_search_in_this_process_finds():
    apart = BesideExploration(TRIAL)
    apart.go_on(TRIAL)
    assert apart.findings() == prove(TRIAL).findings


@pytest.mark.slow
def test_what_exploration_refutes_is_not_proved():
    first, *others = TRIAL.requirements
    standing = dataclasses.replace(TRIAL, requirements=tuple(others))
    apart = BesideExploration(TRIAL)
    apart.go_on(standing)
    subjects = {finding.subject for finding in apart.findings()}
    assert first.id not in subjects
    assert {requirement.id for requirement in others} <= subjects


@pytest.mark.slow
def test_where_exploration_broke_down_nothing_is_found():
    apart = BesideExploration(TRIAL)
    apart.go_on(None)
    assert apart.findings() == ()


@pytest.mark.slow
def test_a_search_that_breaks_down_is_not_taken_for_a_proof():
    state = dataclasses.replace(TRIAL.states[0], name="nowhere")
    broken = dataclasses.replace(TRIAL, states=(state, *TRIAL.states[1:]))
    with pytest.raises(ApartError, match="Error"):
        Apart(broken).proof()


def test_one_that_is_killed_is_not_taken_for_a_proof():
    apart = Apart(TRIAL)
    apart._process.kill()
    with pytest.raises(ApartError, match="ended with -9"):
        apart.proof()
