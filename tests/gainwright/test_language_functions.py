"""Named functions: their value, range and words agree with what they expand to."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from gainwright.language.expression import SELECTIONS, Binary, Integer, Reference
from gainwright.language.functions import FUNCTIONS, expanded
from gainwright.language.intervals import computed
from gainwright.semantics.evaluate import evaluate
from gainwright.semantics.python_code import ARRAY, CodeWriter
from gainwright_codegen.trial_c import expression as c_text
from gainwright_proof.c_checks import plain_reference
from gainwright_proof.induction import expression as smt

SIDES = range(-3, 4)


def test_each_function_has_its_entry():
    assert FUNCTIONS.keys() == SELECTIONS


@pytest.mark.parametrize("operator", FUNCTIONS)
def test_the_expansion_means_the_same(operator):
    for left, right in itertools.product(SIDES, SIDES):
        called = Binary(operator, Integer(left), Integer(right))
        assert evaluate(called, {}) == evaluate(expanded(called), {})


@pytest.mark.parametrize("operator", FUNCTIONS)
def test_arrays_compute_the_same(operator):
    left, right = np.array(list(itertools.product(SIDES, SIDES))).T
    called = Binary(operator, Reference("left"), Reference("right"))
    check = CodeWriter([], (), ARRAY).function([called])
    (values,) = check({"left": left, "right": right}, 0, {}, 0)
    pairs = zip(left.tolist(), right.tolist(), strict=True)
    assert values.tolist() == [FUNCTIONS[operator].value(*pair) for pair in pairs]


@pytest.mark.parametrize("operator", FUNCTIONS)
def test_the_range_is_exact(operator):
    ends = [(low, high) for low in SIDES for high in SIDES if low <= high]
    for left, right in itertools.product(ends, ends):
        values = [
            FUNCTIONS[operator].value(a, b)
            for a in range(left[0], left[1] + 1)
            for b in range(right[0], right[1] + 1)
        ]
        assert computed(operator, left, right) == (min(values), max(values))


@pytest.mark.parametrize("operator", FUNCTIONS)
def test_backends_without_a_function_write_its_expansion(operator, monkeypatch):
    """What a new function costs: its entry, and the second reader, which shares nothing."""
    called = Binary(operator, Integer(3), Integer(4))
    for table in (c_text._FUNCTIONS, smt._APPLIED, plain_reference._PATTERNS):
        monkeypatch.delitem(table, operator, raising=False)
    scope = c_text.Scope(now={})
    assert c_text.c_expression(called, scope) == c_text.c_expression(expanded(called), scope)
    assert plain_reference._text(called, {}) == plain_reference._text(expanded(called), {})
    assert smt.translate(called, None) == smt.translate(expanded(called), None)
