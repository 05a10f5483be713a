"""Inputs that a directed search tries in each state: one vector for each way in which they matter.

Of an input that is compared with variables, and would matter in hundreds of ways, a few values are
tried, spread evenly over those that may matter.
"""

from __future__ import annotations

from dataclasses import replace

from gainwright.language.model import Requirement, State, Trial
from gainwright_proof.exploration.vectors import Vector, WayFinder

_MOST_VALUES = 6
_MOST_WAYS = 20_000


def vectors_by_state(trial: Trial) -> list[tuple[Vector, ...]]:
    """Return the vectors that rows and new values tell apart, in the order of the states."""
    finder = WayFinder(replace(trial, requirements=()))
    return [finder.of(state, _MOST_WAYS, _MOST_VALUES) for state in trial.states]


def vectors_for(trial: Trial, requirement: Requirement, state: State) -> tuple[Vector, ...]:
    """Return those that a requirement tells apart too."""
    finder = WayFinder(replace(trial, requirements=(requirement,)))
    return finder.of(state, _MOST_WAYS, _MOST_VALUES)
