"""Hypothesis strategies for expression trees of any shape, well typed or not."""

from __future__ import annotations

from hypothesis import strategies as st

from gainwright.language.expression import (
    SHIFTS,
    Binary,
    Boolean,
    Choice,
    Expression,
    InState,
    Integer,
    Operator,
    Reference,
    Unary,
)
from gainwright.language.tokens import RESERVED

CONSTANTS = {"top_rung": 127, "lowest": -5, "zero_ticks": 0}

names = st.from_regex(r"[a-z][a-z0-9]{0,6}(_[a-z0-9]{1,4})?", fullmatch=True).filter(
    lambda name: name not in RESERVED and name not in CONSTANTS
)
_BINARY = sorted(
    (o for o in Operator if o not in SHIFTS | {Operator.NEGATE, Operator.NOT}),
    key=lambda operator: operator.name,
)
_leaves = st.one_of(
    st.integers(-(2**40), 2**40).map(Integer),
    st.sampled_from(sorted(CONSTANTS)).map(lambda name: Integer(CONSTANTS[name], name)),
    st.booleans().map(Boolean),
    st.builds(Reference, names, st.booleans()),
    st.builds(InState, st.lists(names, min_size=1, max_size=3).map(tuple), st.booleans()),
)


def _grown(inner: st.SearchStrategy[Expression]) -> st.SearchStrategy[Expression]:
    return st.one_of(
        st.builds(Unary, st.sampled_from([Operator.NEGATE, Operator.NOT]), inner),
        st.builds(Binary, st.sampled_from(_BINARY), inner, inner),
        st.builds(
            Binary,
            st.sampled_from([Operator.SHIFT_LEFT, Operator.SHIFT_RIGHT]),
            inner,
            st.integers(0, 31).map(Integer),
        ),
        st.builds(Choice, inner, inner, inner),
    )


trees = st.recursive(_leaves, _grown, max_leaves=12)
"""Requirement formulas: everything that the grammar can write."""
