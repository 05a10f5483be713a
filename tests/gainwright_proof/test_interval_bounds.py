"""Interval arithmetic: a second way to what a solver says of ranges, and where it says nothing."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest

from gainwright.language.expression import Binary, Integer, Operator, Reference
from gainwright.language.load import load_trial, trial_from_document
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.exploration.subjects import NO_OVERFLOW, RANGES
from gainwright_proof.interval_bounds import interval_findings
from gainwright_proof.verdict import Verdict

from ..shared.small_trial import edited


def _said(trial):
    return {f.subject: f for f in interval_findings(trial)}


@pytest.mark.parametrize("name", ["standard", "gentle", "complete", "loadside"])
def test_shipped_trials_keep_their_ranges(name):
    said = _said(load_trial(shipped_trial_path(name)))
    assert {s: f.verdict for s, f in said.items()} == {
        NO_OVERFLOW: Verdict.PROVED,
        RANGES: Verdict.PROVED,
    }


def test_a_product_beyond_32_bits_and_an_output_beyond_its_range_are_not_shown():
    trial = trial_from_document(tomllib.loads(edited()), "small.toml")
    (first, *others) = trial.rows
    rung = next(v for v in trial.variables if v.high > 1)
    huge = Binary(Operator.MULTIPLY, Reference(rung.name), Integer(2**31 - 1))
    row = replace(first, actions={**first.actions, rung.name: huge})
    said = _said(replace(trial, rows=(row, *others)))
    assert said[NO_OVERFLOW].verdict is Verdict.UNFINISHED
    assert rung.name in said[NO_OVERFLOW].detail
    assert said[RANGES].verdict is Verdict.PROVED
    output = trial.outputs[0]
    beyond = Integer(output.high + 1)
    outputs = (replace(output, default=beyond), *trial.outputs[1:])
    states = tuple(replace(s, outputs={}) for s in trial.states)
    said = _said(replace(trial, outputs=outputs, states=states))
    assert said[RANGES].verdict is Verdict.UNFINISHED
    assert output.name in said[RANGES].detail
