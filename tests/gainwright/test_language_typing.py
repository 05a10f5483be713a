"""Types and ranges: sound against brute force, exact for one operator, 32-bit intermediates."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from gainwright.language.expression import ARITHMETIC, COMPARISONS, SELECTIONS, Binary, Reference
from gainwright.language.model import Kind
from gainwright.language.parse import parse
from gainwright.language.scope import ANY_BOOLEAN, Bounds, Scope
from gainwright.language.typing import infer
from gainwright.semantics.evaluate import evaluate

NUMBERS = {"p": (-2, 3), "q": (0, 2), "r": (5, 7)}
SCOPE = Scope(
    {**{name: Bounds(Kind.INTEGER, *ends) for name, ends in NUMBERS.items()}, "t": ANY_BOOLEAN},
    declared=dict.fromkeys([*NUMBERS, "t"], "a variable") | {"hidden": "an output"},
    place="an action",
)
ALL_VALUES = [
    dict(zip([*NUMBERS, "t"], values, strict=True))
    for values in itertools.product(
        *(range(low, high + 1) for low, high in NUMBERS.values()), (0, 1)
    )
]

integer_texts = st.recursive(
    st.sampled_from([*NUMBERS, "-3", "4"]),
    lambda inner: st.one_of(
        st.builds("({} {} {})".format, inner, st.sampled_from("+-*"), inner),
        st.builds("({} {} 2)".format, inner, st.sampled_from(["<<", ">>"])),
        st.builds("{}({}, {})".format, st.sampled_from(["min", "max"]), inner, inner),
        st.builds("(if t then {} else {})".format, inner, inner),
        inner.map("-({})".format),
    ),
    max_leaves=6,
)
boolean_texts = st.recursive(
    st.builds(
        "({} {} {})".format,
        integer_texts,
        st.sampled_from(["<", "<=", ">", ">=", "==", "!="]),
        integer_texts,
    )
    | st.sampled_from(["t", "true", "false"]),
    lambda inner: (
        st.builds(
            "({} {} {})".format, inner, st.sampled_from(["and", "or", "implies", "==", "!="]), inner
        )
        | inner.map("(not {})".format)
    ),
    max_leaves=4,
)


@given(integer_texts | boolean_texts)
def test_inferred_range_holds_every_value(text):
    tree = parse(text)
    bounds, errors = infer(tree, SCOPE)
    assert not errors
    values = {evaluate(tree, row) for row in ALL_VALUES}
    assert bounds.low <= min(values) and max(values) <= bounds.high


@given(
    st.sampled_from(sorted(ARITHMETIC | SELECTIONS | COMPARISONS, key=lambda o: o.name)),
    st.tuples(st.integers(-6, 6), st.integers(0, 5)),
    st.tuples(st.integers(-6, 6), st.integers(0, 5)),
)
def test_range_of_one_operator_is_exact(operator, left, right):
    ends = [(low, low + width) for low, width in (left, right)]
    scope = Scope({name: Bounds(Kind.INTEGER, *e) for name, e in zip("ab", ends, strict=True)})
    tree = Binary(operator, Reference("a"), Reference("b"))
    bounds, _ = infer(tree, scope)
    values = {
        evaluate(tree, {"a": a, "b": b})
        for a in range(ends[0][0], ends[0][1] + 1)
        for b in range(ends[1][0], ends[1][1] + 1)
    }
    assert (bounds.low, bounds.high) == (min(values), max(values))


WIDE = Scope({"w": Bounds(Kind.INTEGER, -(2**31), 2**31 - 1), "u": Bounds(Kind.INTEGER, 0, 65535)})


@pytest.mark.parametrize(
    ("text", "fits"),
    [
        ("w", True),
        ("w + 0", True),
        ("w + 1", False),
        ("-w", False),
        ("u * u", False),
        ("u * 32767", True),
        ("u * 32769", False),
        ("u << 15", True),
        ("u << 16", False),
        ("(u << 16) >> 16", False),  # the intermediate counts, not the result
        ("min(w, 5) + 1", True),
        ("2147483647", True),
        ("2147483648", False),
        ("-2147483648", True),
        ("w + 1 > 0", False),
    ],
)
def test_intermediates_fit_32_bits(text, fits):
    _, errors = infer(parse(text), WIDE)
    assert (not errors) == fits
    if not fits:
        assert "32 bits signed" in errors[0].expected


@pytest.mark.parametrize(
    ("text", "found", "remedy"),
    [
        ("p and t", "an integer as operand of and: p", "!= 0"),
        ("t + 1", "a boolean value as operand of +: t", "then 1 else 0"),
        ("t < 1", "a boolean value as operand of <: t", "then 1 else 0"),
        ("not p", "an integer as operand of not: p", "!= 0"),
        ("if p then 1 else 2", "an integer as operand of if: p", "!= 0"),
        ("if t then 1 else t", "an integer and a boolean value", "same type"),
        ("t == p", "a boolean value compared with an integer", "like with like"),
        ("max(t, p)", "a boolean value as operand of max: t", "then 1 else 0"),
        ("x + 1", "the unknown name 'x'", "declare"),
        ("hidden + 1", "'hidden', which is an output", "reads variables, constants"),
    ],
)
def test_wrong_types_and_names(text, found, remedy):
    _, errors = infer(parse(text), SCOPE)
    assert len(errors) == 1
    assert found in errors[0].found
    assert remedy in errors[0].remedy


def test_near_name_is_suggested():
    scope = Scope({"gain_rung": Bounds(Kind.INTEGER, 0, 9)})
    _, errors = infer(parse("gain_rugn > 1"), scope)
    assert errors[0].remedy == "did you mean 'gain_rung'?"


def test_every_error_of_an_expression_is_reported():
    _, errors = infer(parse("x and y or p"), SCOPE)
    assert len(errors) == 3


@given(boolean_texts)
def test_constant_formula_is_really_constant(text):
    tree = parse(text)
    bounds, _ = infer(tree, SCOPE)
    assume(bounds.constant)
    assert {evaluate(tree, row) for row in ALL_VALUES} == {bounds.low}
