"""Golden ticks by the array form of the semantics are those of the reference."""

from __future__ import annotations

import random
import tomllib

import numpy as np
import pytest

from gainwright.language.load import trial_from_document
from gainwright.semantics.machine import ReferenceMachine
from gainwright_codegen.bundle.golden import ticked
from gainwright_codegen.bundle.golden.domain import any_values, input_domain, variable_domain
from gainwright_codegen.bundle.golden.ticked import TickedVectors

from ..shared.small_trial import SMALL

SMALL_TRIAL = trial_from_document(tomllib.loads(SMALL), "small.toml")


def vectors(count: int) -> np.ndarray:
    source, domain = random.Random(1), (*variable_domain(SMALL_TRIAL), *input_domain(SMALL_TRIAL))
    return np.array([any_values(domain, source) for _ in range(count)], dtype=np.int64)


def test_every_lane_is_the_reference(monkeypatch):
    monkeypatch.setattr(ticked, "_EVERY", 1)
    ticks = TickedVectors(SMALL_TRIAL, ReferenceMachine(SMALL_TRIAL))
    for state in range(len(SMALL_TRIAL.states)):
        ticks.words(state, vectors(200))
    assert ticks.count == 200 * len(SMALL_TRIAL.states)


def test_a_difference_from_the_reference_is_noticed(monkeypatch):
    ticks = TickedVectors(SMALL_TRIAL, ReferenceMachine(SMALL_TRIAL))
    wrong = (ticks._machine._targets + 1) % len(SMALL_TRIAL.states)
    monkeypatch.setattr(ticks._machine, "_targets", wrong)
    with pytest.raises(RuntimeError, match="differ in state 0"):
        ticks.words(0, vectors(64))
