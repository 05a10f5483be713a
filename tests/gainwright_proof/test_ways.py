"""Vectors found input by input show all that any vector shows, and are few where few matter."""

from __future__ import annotations

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.exploration.vectors import TooManyVectors, WayFinder, vectors_by_state

from ..shared.cases import cases
from ..shared.explore_trials import random_trial
from .test_explore_vectors import Ticks, combinations

MOST = 1000


@pytest.mark.parametrize("seed", cases(range(1), slow=range(1, 16)))
def test_ways_show_all_that_any_vector_shows(seed):
    """Wherever exactly one row holds: row, new values, and what the tick says of requirements."""
    trial = random_trial(seed)
    ticks, finder = Ticks(trial), WayFinder(trial)
    names = [signal.name for signal in trial.inputs]
    for state in trial.states:
        ways = [dict(zip(names, v, strict=True)) for v in finder.of(state, MOST)]
        for variables in combinations(trial.variables):
            shown = {ticks.seen(state.name, variables, inputs)[1] for inputs in ways}
            every = {ticks.seen(state.name, variables, i)[1] for i in combinations(trial.inputs)}
            assert {one for one in every if len(one[0]) == 1} <= shown


@pytest.mark.slow
def test_a_state_whose_features_are_too_many_to_list_has_few_ways():
    trial = load_trial(shipped_trial_path("complete"))
    with pytest.raises(TooManyVectors, match="in state detect"):
        vectors_by_state(trial, 1 << 19)
    (state,) = [s for s in trial.states if s.name == "verify_move"]
    assert 10 < len(WayFinder(trial).of(state, MOST)) < 200


def test_too_many_ways_are_said():
    trial = random_trial(0)
    with pytest.raises(TooManyVectors, match="or more"):
        for state in trial.states:
            WayFinder(trial).of(state, 1)
