"""The input values that can make a difference to a trial."""

from __future__ import annotations

import random
from collections.abc import Iterator

from gainwright.language.critical_values import constants, values_near
from gainwright.language.expression import Expression, references
from gainwright.language.model import Signal, Trial

Inputs = tuple[int, ...]
"""One value per input, in the order of the trial."""

Domain = tuple[tuple[int, ...], ...]
"""For each signal the values to try: the ends of its range, and the constants that stand in an
expression with it, with their neighbours, as far as they lie inside."""


def input_domain(trial: Trial) -> Domain:
    """Return the values to try for each input."""
    return tuple(_values(trial, signal) for signal in trial.inputs)


def variable_domain(trial: Trial) -> Domain:
    """Return the values to try for each variable."""
    return tuple(_values(trial, signal) for signal in trial.variables)


def _values(trial: Trial, signal: Signal) -> tuple[int, ...]:
    trees = [tree for tree in _trees(trial) if signal.name in references(tree)]
    return values_near(signal, constants(trees))


def _trees(trial: Trial) -> Iterator[Expression]:
    for condition in trial.conditions:
        yield condition.expression
    for row in trial.rows:
        yield from row.actions.values()


def any_values(domain: Domain, source: random.Random) -> tuple[int, ...]:
    """Return one random value per signal."""
    return tuple(_pick(values, source) for values in domain)


def changed_inputs(domain: Domain, inputs: Inputs, source: random.Random) -> Inputs:
    """Return the inputs with one to three of them drawn anew."""
    changed = list(inputs)
    for _ in range(1 + int(3 * source.random())):
        if changed:
            k = int(len(changed) * source.random())
            changed[k] = _pick(domain[k], source)
    return tuple(changed)


def _pick(values: tuple[int, ...], source: random.Random) -> int:
    # Five times as fast as random.choice, and this is the innermost loop of the search.
    return values[int(len(values) * source.random())]
