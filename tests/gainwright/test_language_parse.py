"""The parser: grammar, refusals, and that what is written back is read as the same tree."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainwright.language.expression import (
    Binary,
    Boolean,
    Choice,
    InState,
    Integer,
    Operator,
    Reference,
    Unary,
)
from gainwright.language.expression_error import ExpressionError
from gainwright.language.parse import parse
from gainwright.language.write import write
from gainwright.semantics.evaluate import evaluate

from .language_trees import CONSTANTS, trees

A, B, C, D = (Reference(name) for name in "abcd")


@given(trees)
def test_what_is_written_is_read_as_the_same_tree(tree):
    assert parse(write(tree), CONSTANTS, requirement=True) == tree


@given(trees)
def test_brackets_are_written_only_where_needed(tree):
    """Taking any one pair of grouping brackets out changes the tree or is refused."""
    text = write(tree)
    for start in (i for i, character in enumerate(text) if character == "("):
        if start and (text[start - 1].isalnum() or text[start - 1] in "_"):
            continue  # the bracket of a function
        end = _closing(text, start)
        shorter = text[:start] + " " + text[start + 1 : end] + " " + text[end + 1 :]
        try:
            again = parse(shorter, CONSTANTS, requirement=True)
        except ExpressionError:
            continue
        assert again != tree


def _closing(text: str, start: int) -> int:
    depth = 0
    for index in range(start, len(text)):
        depth += {"(": 1, ")": -1}.get(text[index], 0)
        if depth == 0:
            return index
    raise AssertionError(text)


@pytest.mark.parametrize(
    ("text", "tree"),
    [
        ("a + b * c", Binary(Operator.ADD, A, Binary(Operator.MULTIPLY, B, C))),
        ("a - b - c", Binary(Operator.SUBTRACT, Binary(Operator.SUBTRACT, A, B), C)),
        # As in C and Python, a shift binds looser than a sum.
        ("a + b << 2", Binary(Operator.SHIFT_LEFT, Binary(Operator.ADD, A, B), Integer(2))),
        ("a or b and c", Binary(Operator.OR, A, Binary(Operator.AND, B, C))),
        ("not a and b", Binary(Operator.AND, Unary(Operator.NOT, A), B)),
        ("not a < b", Unary(Operator.NOT, Binary(Operator.LESS, A, B))),
        (
            "a implies b implies c",
            Binary(Operator.IMPLIES, A, Binary(Operator.IMPLIES, B, C)),
        ),
        ("a or b implies c", Binary(Operator.IMPLIES, Binary(Operator.OR, A, B), C)),
        ("a < b == true", None),
        (
            "if a then b else if c then d else 1",
            Choice(A, B, Choice(C, D, Integer(1))),
        ),
        ("-2147483648", Integer(-(2**31))),
        ("-(5)", Unary(Operator.NEGATE, Integer(5))),
        ("- a", Unary(Operator.NEGATE, A)),
        ("0x1F + 1_000", Binary(Operator.ADD, Integer(31), Integer(1000))),
        ("top_rung", Integer(127, "top_rung")),
        ("min(a, max(b, 3))", None),
        ("next(a)", Reference("a", after=True)),
        ("in_state(a, b)", InState(("a", "b"))),
        ("next(in_state(a))", InState(("a",), after=True)),
        ("true", Boolean(True)),
    ],
)
def test_grammar(text, tree):
    if tree is None and "==" in text:
        with pytest.raises(ExpressionError, match="chain"):
            parse(text)
        return
    parsed = parse(text, CONSTANTS, requirement=True)
    assert tree is None or parsed == tree
    assert parse(write(parsed), CONSTANTS, requirement=True) == parsed


ARITHMETIC_TEXTS = st.recursive(
    st.integers(0, 50).map(str) | st.sampled_from("ab"),
    lambda inner: (
        st.builds("{} {} {}".format, inner, st.sampled_from(["+", "-", "*", "<<", ">>"]), inner)
        | inner.map("({})".format)
        | inner.map("-{}".format)
    ),
    max_leaves=8,
)


@given(ARITHMETIC_TEXTS, st.integers(-9, 9), st.integers(-9, 9))
def test_arithmetic_means_what_the_same_text_means_in_python(text, a, b):
    """Python is the outside witness for precedence, grouping and rounding of >>."""
    try:
        tree = parse(text)
    except ExpressionError as error:
        assert "shift" in error.found
        return
    values = {"a": a, "b": b}
    assert evaluate(tree, values) == eval(text, {"__builtins__": {}}, values)


@pytest.mark.parametrize(
    ("text", "column", "found", "remedy"),
    [
        ("a / b", 3, "a division", "shift right"),
        ("a // b", 3, "a division", "shift right"),
        ("a % b", 3, "a modulo", "start again"),
        ("a ** 2", 3, "a power", "product"),
        ("a + 1.5", 5, "decimal number 1.5", "scale"),
        ("a + .5", 5, "decimal number .5", "scale"),
        ("1e3", 1, "decimal number 1e3", "scale"),
        ("a << b", 6, "a shift by 'b'", "number"),
        ("(-0 << 0 + 0)", 10, "'+' after the distance of a shift", "(... << 0) + ..."),
        ("a >> 1 * b", 8, "'*' after the distance of a shift", "(... >> 1) * ..."),
        ("a << 32", 6, "a shift by '32'", "number"),
        ("a >> -1", 6, "a shift by '-'", "number"),
        ("a < b < c", 7, "a second comparison '<'", "and"),
        ("a = b", 3, "a single =", "=="),
        ("a && b", 3, "&&", "and"),
        ("a || b", 3, "||", "or"),
        ("!a", 1, "!", "not"),
        ("a & b", 3, "bitwise", "and"),
        ("a ^ b", 3, "bitwise", "!="),
        ("~a", 1, "bitwise", "not"),
        ("a ? b : c", 3, "?", "if"),
        ("sqrt(a)", 1, "the function 'sqrt'", "operator"),
        ("abs(a)", 1, "the function 'abs'", "operator"),
        ("min(a)", 6, "')'", "min(a, b)"),
        ("min(a, b, c)", 9, "','", "min(a, b)"),
        ("(a", 3, "the end of the expression", "bracket"),
        ("a)", 2, "')' after a complete expression", "bracket"),
        ("a b", 3, "'b' after a complete expression", "operator"),
        ("a +", 4, "the end of the expression", "complete"),
        ("* a", 1, "'*'", "complete"),
        ("if a then b", 12, "the end of the expression", "if condition then"),
        ("1 + if a then b else c", 5, "if inside another operator", "write (if"),
        ("a == not b", 6, "not inside another operator", "write (not"),
        ("a; b", 2, "the character ';'", "remove"),
        ("a + 'b'", 5, "the character", "remove"),
        ("", 0, "nothing", "write one"),
        ("   ", 0, "nothing", "write one"),
        ("next(a)", 1, "next(...)", "requirements"),
        ("in_state(a)", 1, "in_state(...)", "requirements"),
        ("(" * 200 + "a" + ")" * 200, None, "levels of nesting", "conditions"),
        ("not " * 200 + "a", None, "levels of nesting", "conditions"),
        ("- " * 200 + "a", None, "levels of nesting", "conditions"),
        ("a or " * 2000 + "a", 0, "characters", "conditions"),
    ],
)
def test_refusals_name_column_and_remedy(text, column, found, remedy):
    with pytest.raises(ExpressionError) as caught:
        parse(text)
    error = caught.value
    assert found in error.found
    assert remedy in error.remedy
    assert column is None or error.column == column


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("next(3)", "next of '3'"),
        ("next(a + b)", "'+'"),
        ("next(top_rung)", "the constant 'top_rung'"),
        ("in_state()", "')'"),
        ("in_state(3)", "'3'"),
        ("next(next(a))", "next of 'next'"),
    ],
)
def test_refusals_in_requirements(text, found):
    with pytest.raises(ExpressionError) as caught:
        parse(text, CONSTANTS, requirement=True)
    assert found in caught.value.found
