"""Tests in actions: each part is seen to decide, in ticks that take the row."""

from __future__ import annotations

import random

import pytest

from gainwright.language.expression import Binary, Choice, Expression, Integer, Operator, Reference
from gainwright.language.load import load_trial
from gainwright.language.model import Condition, Kind, Row, Signal
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.bundle.golden.choices import Choices
from gainwright_codegen.bundle.golden.explorer import Explorer
from gainwright_codegen.bundle.golden.samples import Sampler

from ..shared.random_trials import counter_trial


def at_least(name: str, bound: int) -> Expression:
    return Binary(Operator.GREATER_EQUAL, Reference(name), Integer(bound))


BOTH = Binary(Operator.AND, at_least("by", 4), at_least("to", 6))


def trial():
    """The row is taken where both are, or where `go` is: so without `go` no single change shows the
    test of its action come out the other way."""
    return counter_trial(
        inputs=(
            Signal("go", Kind.BOOLEAN, 0, 1, "", ""),
            Signal("by", Kind.INTEGER, -9, 9, "", ""),
            Signal("to", Kind.INTEGER, -9, 9, "", ""),
        ),
        conditions=(Condition("told", Binary(Operator.OR, Reference("go"), BOTH), ""),),
        rows=(
            Row("count", "only", ("told",), (), "only",
                {"count_up": Choice(BOTH, Integer(1), Integer(2))}, ""),
            Row("rest", "only", (), ("told",), "only", {}, ""),
        ),
    )  # fmt: skip


def found(trial, others=()):
    explorer = Explorer(trial)
    choices = Choices(trial, explorer, Sampler(trial, explorer, random.Random(1)))
    return list(choices.samples(others))


def test_samples_show_each_part_while_the_row_is_taken():
    samples = found(trial())
    assert {row for row, _ in samples} == {0}
    # With `go` both parts show around one sample, at or beside which both hold.
    assert all(sample.inputs[0] == 1 for _, sample in samples)
    assert found(trial(), samples) == []


def test_a_sample_whose_changes_leave_the_row_shows_nothing():
    (_, shown), *_ = found(trial())
    start, (_, by, to) = shown.start, shown.inputs
    without = type(shown)(start, (0, max(by, 4), max(to, 6)))
    assert found(trial(), [(0, without)]) != []


@pytest.mark.slow
def test_the_complete_trial_has_such_an_action():
    """Its gate found 136 of 137 parts of conditions decide."""
    complete = load_trial(shipped_trial_path("complete"))
    rows = {complete.rows[row].id for row, _ in found(complete)}
    assert "profile_never_kept" in rows
