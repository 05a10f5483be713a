"""Simplified expressions have the value that the definition of the language gives."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from gainwright.language.expression import Boolean, InState, Integer, Reference, references
from gainwright.language.model import Kind, Signal
from gainwright.language.parse import parse
from gainwright.semantics.evaluate import Moment, Step, evaluate, evaluate_over
from gainwright_proof.exploration.rewrite import after_tick, learn, rewritten

from ..shared.random_trees import boolean_trees, integer_trees, values_of

SIGNALS = {
    "a": Signal("a", Kind.INTEGER, -5, 5, "", ""),
    "b": Signal("b", Kind.INTEGER, 0, 60000, "", ""),
    "p": Signal("p", Kind.BOOLEAN, 0, 1, "", ""),
    "q": Signal("q", Kind.BOOLEAN, 0, 1, "", ""),
}
VALUES = st.fixed_dictionaries({name: values_of(signal) for name, signal in SIGNALS.items()})
EITHER = st.one_of(boolean_trees(SIGNALS, 4), integer_trees(SIGNALS, 4))


def literal(name: str, value: int):
    return Boolean(bool(value)) if SIGNALS[name].kind is Kind.BOOLEAN else Integer(value)


def unchanged(part):
    return part


@given(EITHER, VALUES)
def test_simplified_expression_has_the_same_value(tree, values):
    assert evaluate(rewritten(tree, unchanged), values) == evaluate(tree, values)


@given(EITHER, VALUES, st.sets(st.sampled_from(sorted(SIGNALS))))
def test_values_that_are_put_in_are_used_and_gone(tree, values, known):
    def leaf(part):
        return literal(part.name, values[part.name]) if part.name in known else part

    left = rewritten(tree, leaf)
    assert not references(left) & known
    assert evaluate(left, values) == evaluate(tree, values)


@given(EITHER, VALUES)
def test_an_expression_without_names_becomes_its_value(tree, values):
    left = rewritten(tree, lambda part: literal(part.name, values[part.name]))
    assert isinstance(left, Integer | Boolean)
    assert left.value == evaluate(tree, values)


@given(boolean_trees(SIGNALS, 3), EITHER, VALUES)
def test_what_is_learnt_from_a_boolean_holds_and_changes_no_value(known, tree, values):
    known = rewritten(known, unchanged)
    facts = {}
    learn(known, bool(evaluate(known, values)), facts)
    for fact, boolean in facts.items():
        assert evaluate(fact, values) == boolean.value
    assert evaluate(rewritten(tree, unchanged, facts), values) == evaluate(tree, values)


def test_what_is_learnt_reaches_into_chains():
    known = parse("not (p or a < 3) and (q implies b > 7)")
    facts = {}
    learn(rewritten(known, unchanged), True, facts)
    formula = parse("p or a < 3 or q")
    assert rewritten(formula, unchanged, facts) == Reference("q")


def test_moment_after_the_tick():
    tree = parse("in_state(x) and a > 1", requirement=True)
    after = after_tick(tree)
    step = Step(Moment({"a": 0}, "y"), Moment({"a": 2}, "x"))
    assert evaluate_over(after, step) == 1
    assert after.left == InState(("x",), True)
