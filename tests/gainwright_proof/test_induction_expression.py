"""Expressions as bit-vectors: the same values as the reference, in all solvers; overflow found."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainwright.language.model import Kind, Signal
from gainwright.language.parse import parse
from gainwright.semantics.evaluate import evaluate
from gainwright_proof.induction.expression import conjuncts, exactness, translate
from gainwright_proof.induction.script import Statement, constant, script
from gainwright_proof.induction.solvers import SOLVERS, Answer, decide
from gainwright_proof.induction.step import sort, within_range
from gainwright_proof.induction.text import bit_vector, conjunction, pretty, symbols_in

from ..shared.random_trees import boolean_trees, integer_trees, values_of
from .smt_values import Names, helpers, proved, value_script

SIGNALS = {
    s.name: s
    for s in (
        Signal("byte", Kind.INTEGER, -128, 127, "", ""),
        Signal("word", Kind.INTEGER, -(2**31), 2**31 - 1, "", ""),
        Signal("tally", Kind.INTEGER, 0, 1000, "", ""),
        Signal("flag", Kind.BOOLEAN, 0, 1, "", ""),
    )
}
LISTED = list(SIGNALS.values())
all_values = st.fixed_dictionaries({name: values_of(s) for name, s in SIGNALS.items()})


@settings(max_examples=60, deadline=None)
@given(integer_trees(SIGNALS, 3), all_values, st.sampled_from(sorted(SOLVERS)))
def test_integers_have_the_value_of_the_reference(tree, values, solver):
    expected = evaluate(tree, values)
    assert proved(solver, value_script(tree, Kind.INTEGER, expected, LISTED, values))
    wrong = expected - 1 if expected > -(2**31) else expected + 1
    assert not proved(solver, value_script(tree, Kind.INTEGER, wrong, LISTED, values))


@settings(max_examples=60, deadline=None)
@given(boolean_trees(SIGNALS, 3), all_values, st.sampled_from(sorted(SOLVERS)))
def test_truths_have_the_value_of_the_reference(tree, values, solver):
    expected = evaluate(tree, values)
    assert proved(solver, value_script(tree, Kind.BOOLEAN, expected, LISTED, values))
    assert not proved(solver, value_script(tree, Kind.BOOLEAN, 1 - expected, LISTED, values))


@pytest.mark.parametrize("solver", sorted(SOLVERS))
def test_shift_right_rounds_down_and_shift_left_multiplies(solver):
    # Python's >> rounds down, as ISO C leaves open for negative values and the exported C does.
    signal = Signal("byte", Kind.INTEGER, -128, 127, "", "")
    for value in (-128, -127, -5, -1, 0, 1, 5, 127):
        for text in ("byte >> 2", "byte << 3", "-byte", "byte * -7", "min(byte, -3)"):
            tree = parse(text)
            expected = evaluate(tree, {"byte": value})
            text = value_script(tree, Kind.INTEGER, expected, [signal], {"byte": value})
            assert proved(solver, text), (value, text)


def _always_exact(text: str, solver: str) -> bool:
    tree = parse(text)
    formulas = [formula for _, formula in exactness(tree, Names())]
    ranges = [
        constant(s.name, sort(s), constraint=within_range(s, s.name)) for s in SIGNALS.values()
    ]
    claim = Statement("exact", conjunction(formulas))
    return proved(solver, script(["Exact."], [*helpers(), *ranges], [], claim))


@pytest.mark.parametrize("solver", sorted(SOLVERS))
@pytest.mark.parametrize(
    ("text", "exact"),
    [
        ("byte * byte + tally", True),
        ("word + 1", False),
        ("-word", False),  # the lowest word has no opposite
        ("-(word >> 1)", True),
        ("tally << 21", True),  # 1000 * 2**21 = 2 097 152 000 < 2**31
        ("tally << 22", False),
        ("word * 1", True),
        ("tally * tally * tally", True),
        ("tally * tally * tally * 3", False),
        # No part is excused by a condition, since C may compute it first.
        ("if flag then 0 else word - 1", False),
    ],
)
def test_overflow_of_any_part_is_found(text, exact, solver):
    assert _always_exact(text, solver) is exact


@settings(max_examples=15, deadline=None)
@given(integer_trees(SIGNALS, 2))
def test_what_the_loader_lets_pass_is_never_found_to_overflow(tree):
    # The trees are those whose parts fit 32 bits by interval arithmetic. Towers of products may be
    # beyond a bit-vector solver in the time given; a counterexample would be wrong at any time.
    formulas = [formula for _, formula in exactness(tree, Names())]
    ranges = [
        constant(s.name, sort(s), constraint=within_range(s, s.name)) for s in SIGNALS.values()
    ]
    claim = Statement("exact", conjunction(formulas))
    reply = decide("bitwuzla", script(["Exact."], [*helpers(), *ranges], [], claim), 2.0)
    assert reply.answer is not Answer.SAT


def test_conjuncts_are_those_of_the_top_level():
    parts = conjuncts(parse("flag and (byte == 1 or flag) and (tally < 3 and word > 2)"))
    assert [translate(part, Names()) for part in parts] == [
        "flag",
        f"(or (= byte {bit_vector(1)}) flag)",
        f"(bvslt tally {bit_vector(3)})",
        f"(bvsgt word {bit_vector(2)})",
    ]


@given(integer_trees(SIGNALS, 4))
def test_layout_keeps_the_tokens(tree):
    text = translate(tree, Names())
    laid_out = pretty(text)
    assert laid_out.split() == pretty(laid_out).split()
    assert "".join(laid_out.split()) == "".join(text.split())
    assert symbols_in(laid_out) == symbols_in(text)
    assert all(len(line) <= 130 for line in laid_out.splitlines())
