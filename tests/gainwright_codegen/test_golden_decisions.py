"""Conditions: each part is seen to decide, in ticks whose row asks for the condition."""

from __future__ import annotations

import random

from gainwright.language.expression import Binary, Expression, Integer, Operator, Reference, Unary
from gainwright.language.model import Condition, Kind, Row, Signal
from gainwright_codegen.bundle.golden.decision import Decision, parts_of
from gainwright_codegen.bundle.golden.decisions import Decisions
from gainwright_codegen.bundle.golden.explorer import Explorer
from gainwright_codegen.bundle.golden.sample import Sample
from gainwright_codegen.bundle.golden.samples import Sampler

from ..shared.random_trials import counter_trial


def compared(name: str, operator: Operator, bound: Expression) -> Expression:
    return Binary(operator, Reference(name), bound)


LEVEL = compared("level", Operator.GREATER_EQUAL, Integer(4))
AGAIN = compared("level", Operator.LESS, Integer(4))
FAR = compared("far", Operator.GREATER_EQUAL, Unary(Operator.NEGATE, Integer(6)))
LOUD = Binary(Operator.AND, LEVEL, FAR)


def trial(loud: Expression = LOUD):
    """Without `go` no row asks whether it is loud."""
    return counter_trial(
        inputs=(
            Signal("go", Kind.BOOLEAN, 0, 1, "", ""),
            Signal("level", Kind.INTEGER, -9, 9, "", ""),
            Signal("far", Kind.INTEGER, -9, 9, "", ""),
        ),
        conditions=(Condition("told", Reference("go"), ""), Condition("loud", loud, "")),
        rows=(
            Row("rest", "only", (), ("told",), "only", {}, ""),
            Row("count", "only", ("told", "loud"), (), "only", {"count_up": Integer(1)}, ""),
            Row("wait", "only", ("told",), ("loud",), "only", {}, ""),
        ),
    )  # fmt: skip


def found(trial, others=()):
    explorer = Explorer(trial)
    sampler = Sampler(trial, explorer, random.Random(1))
    return list(Decisions(trial, explorer, sampler).samples(others))


def start(trial) -> tuple[int, ...]:
    return (0, *(variable.initial for variable in trial.variables))


def test_a_sample_whose_row_does_not_ask_shows_nothing():
    silent, asked = (Sample(start(trial()), (go, 9, 9)) for go in (0, 1))
    assert found(trial(), [(1, asked)]) == []
    assert {row for row, _ in found(trial(), [(0, silent)])} <= {1, 2}
    assert found(trial(), [(0, silent)]) != []


def test_a_threshold_is_tried_on_both_sides():
    """With `far` from 0 on, `level` changes two parts at once, and nothing shows."""
    near = compared("far", Operator.GREATER_EQUAL, Integer(0))
    both = Binary(Operator.OR, LOUD, Binary(Operator.AND, AGAIN, near))
    places = ((9, -7), (9, 0), (9, 9), (0, 0))
    hidden = [(1, Sample(start(trial()), (1, *place))) for place in places]
    assert any(-6 <= sample.inputs[2] < 0 for _, sample in found(trial(both), hidden))


def test_numbers_with_a_sign_are_tried():
    explorer = Explorer(trial())
    sampler = Sampler(trial(), explorer, random.Random(1))
    tried = {sample.inputs[2] for _ in range(200) if (sample := sampler.attempt(1))}
    assert -6 in tried


def test_distance_to_a_part_that_decides():
    decision = Decision(expression := Binary(Operator.OR, LOUD, AGAIN), parts_of(expression))
    assert decision.distance((True, True, False), 0) == 0
    assert decision.distance((False, False, True), 0) == 2
    assert decision.distance((True, True, False), 2) == 1
    assert decision.distance((False, False, False), 2) == 0
    negated = Unary(Operator.NOT, expression)
    assert Decision(negated, parts_of(negated)).distance((False, False, True), 0) == 2
