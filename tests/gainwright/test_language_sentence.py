"""Expressions as English sentences."""

from __future__ import annotations

import pytest
from hypothesis import given

from gainwright.language.expression import Binary, Operator, Reference, Unary
from gainwright.language.parse import parse
from gainwright.language.sentence import sentence, sentences

from .language_trees import CONSTANTS, trees


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "in_state(move, detect) and loud implies next(rung) <= max(rung - 18, 0)",
            "Whenever the state is move or detect and loud is true, then the next rung is at most "
            "the greater of rung minus 18 and 0.",
        ),
        ("not run_permit", "Run permit is false."),
        ("not wait >= 3", "Wait is less than 3."),
        ("not not loud", "Loud is true."),
        ("a and (b or c)", "A is true and (b is true or c is true)."),
        ("rung <= top_rung", "Rung is at most top rung (127)."),
        ("rung - top_rung > 0", "Rung minus top rung (127) is greater than 0."),
        ("next(in_state(fault))", "The next state is fault."),
        ("not next(in_state(a, b, c))", "The next state is not a, b or c."),
        ("next(verified)", "Verified is true after the tick."),
        ("not (a and b)", "It is not so that (a is true and b is true)."),
        ("done == (next(up) != up)", "Done equals (the next up differs from up)."),
        ("if a then b else c", "If a is true then b is true, otherwise c is true."),
        (
            "x == (if up then 5 else -5)",
            "X equals 5 if up is true, otherwise -5.",
        ),
        ("2 * (a + b) > 0", "2 times (a plus b) is greater than 0."),
    ],
)
def test_sentences(text, expected):
    assert sentence(parse(text, CONSTANTS, requirement=True)) == expected


def test_long_conjunction_becomes_a_list():
    assert sentences(parse("a and b > 1 and not c")) == [
        "A is true.",
        "B is greater than 1.",
        "C is false.",
    ]


@given(trees)
def test_every_tree_has_a_sentence_that_names_what_it_reads(tree):
    text = sentence(tree)
    assert text.endswith(".") and "_" not in text and "  " not in text


@pytest.mark.parametrize(
    "tree",
    [
        Binary(Operator.NOT, Reference("a"), Reference("b")),
        Unary(Operator.ADD, Reference("a")),
    ],
)
def test_an_operator_without_words_is_an_error_not_an_endless_loop(tree):
    with pytest.raises(ValueError, match="no words for the operator"):
        sentence(tree)
