"""Which input values a state can tell apart."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from gainwright.language.attainable import critical_values
from gainwright.language.expression import (
    COMPARISONS,
    CONNECTIVES,
    Binary,
    Boolean,
    Expression,
    InState,
    Operator,
    Unary,
    references,
    walk,
)
from gainwright.language.model import Condition, Kind, Signal, Trial
from gainwright.language.scope import Bounds

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST_CHOICES = 768
"""Input valuations kept for one state; a random selection if there are more."""


def state_conditions(trial: Trial, state: str) -> tuple[Condition, ...]:
    """Return the conditions that the rows of a state look at, also through other conditions."""
    needed = {name for row in trial.rows_by_state[state] for name in (*row.when, *row.unless)}
    found = []
    for condition in reversed(trial.conditions):  # a condition reads those above it only
        if condition.name in needed:
            found.append(condition)
            needed |= references(condition.expression)
    return tuple(reversed(found))


def critical(trial: Trial, signal: Signal, expressions: Iterable[Expression]) -> list[int]:
    """Return values of an input or variable for every way comparisons with it can come out.

    Both neighbours of each limit are among them, so that a limit off by one shows.
    """
    if signal.kind is Kind.BOOLEAN:
        return [0, 1]
    bounds = {s.name: Bounds(s.kind, s.low, s.high) for s in (*trial.inputs, *trial.variables)}
    compared = [
        part
        for expression in expressions
        for part in walk(expression)
        if _compares_integers(part) and signal.name in references(part)
    ]
    values = critical_values(signal.name, compared, bounds)
    inner = [value for value in values if signal.low < value < signal.high]
    # Next to its limits an input is as good as at the ends of its range.
    simple = all(len(references(part)) == 1 for part in compared)
    return inner if inner and simple else values


def _compares_integers(part: Expression) -> bool:
    if not isinstance(part, Binary) or part.operator not in COMPARISONS:
        return False
    inside = (*walk(part.left), *walk(part.right))
    return not any(
        isinstance(e, Boolean | InState)
        or (isinstance(e, Binary) and e.operator in COMPARISONS | CONNECTIVES)
        or (isinstance(e, Unary) and e.operator is Operator.NOT)
        for e in inside
    )


def input_choices(
    trial: Trial, state: str, random: np.random.Generator
) -> dict[str, NDArray[np.int64]]:
    """Return input valuations that a state can tell apart, one per lane.

    Inputs that its rows read take all combinations of their critical values; the others, which
    only requirements may read, are drawn at random.
    """
    expressions = [condition.expression for condition in state_conditions(trial, state)]
    read = frozenset().union(*map(references, expressions))
    # Constants of requirements count too: there, a value may matter that no row looks at.
    demands = [r.formula for r in trial.requirements]
    values = {
        signal.name: critical(trial, signal, [*expressions, *demands]) for signal in trial.inputs
    }
    looked_at = [signal.name for signal in trial.inputs if signal.name in read]
    table = list(_combinations([values[name] for name in looked_at], random))
    columns = np.array(table, dtype=np.int64).reshape(len(table), len(looked_at)).T
    return {
        name: columns[looked_at.index(name)]
        if name in looked_at
        else random.choice(np.array(values[name]), len(table))
        for name in values
    }


def _combinations(
    choices: Sequence[Sequence[int]], random: np.random.Generator
) -> Iterator[tuple[int, ...]]:
    if math.prod(map(len, choices)) <= MOST_CHOICES:
        yield from itertools.product(*choices)
        return
    for _ in range(MOST_CHOICES):
        yield tuple(int(random.choice(values)) for values in choices)
