"""The input values that can make a difference to a trial."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping, Sequence

from gainwright.language.critical_values import constants, values_near
from gainwright.language.expression import references
from gainwright.language.model import Signal, Trial

Inputs = tuple[int, ...]
"""One value per input, in the order of the trial."""

Domain = tuple[tuple[int, ...], ...]
"""For each signal the values to try: the ends of its range, and the constants that stand in an
expression with it, with their neighbours, as far as they lie inside."""


def input_domain(trial: Trial) -> Domain:
    """Return the values to try for each input."""
    return _domain(trial, trial.inputs)


def variable_domain(trial: Trial) -> Domain:
    """Return the values to try for each variable."""
    return _domain(trial, trial.variables)


def _domain(trial: Trial, signals: Iterable[Signal]) -> Domain:
    conditions = (condition.expression for condition in trial.conditions)
    actions = (value for row in trial.rows for value in row.actions.values())
    trees = [(references(tree), constants([tree])) for tree in (*conditions, *actions)]
    return tuple(_near(signal, trees) for signal in signals)


def _near(signal: Signal, trees: Iterable[tuple[frozenset[str], Sequence[int]]]) -> tuple[int, ...]:
    """Return values of a signal near the constants of trees that read it."""
    return values_near(signal, (n for names, found in trees if signal.name in names for n in found))


class Compared:
    """What signals are compared with in conditions of a trial, and in those that these name."""

    def __init__(self, trial: Trial) -> None:
        self._signals = (*trial.variables, *trial.inputs)
        self._trees = {
            c.name: (references(c.expression), constants([c.expression])) for c in trial.conditions
        }

    def near(self, conditions: Iterable[str]) -> dict[int, tuple[int, ...]]:
        """Return values by the place of each signal, variables first, that conditions read."""
        reached, waiting = set[str](), set(conditions)
        while waiting:
            name = waiting.pop()
            reached.add(name)
            waiting |= (self._trees[name][0] & self._trees.keys()) - reached
        trees = [self._trees[name] for name in reached]
        read = frozenset[str]().union(*(names for names, _ in trees))
        return {
            place: _near(signal, trees)
            for place, signal in enumerate(self._signals)
            if signal.name in read
        }


def any_values(domain: Domain, source: random.Random) -> tuple[int, ...]:
    """Return one random value per signal."""
    return tuple(_pick(values, source) for values in domain)


def changes(
    places: Sequence[int], values: Mapping[int, tuple[int, ...]], source: random.Random
) -> dict[int, int]:
    """Return one to three signals by place with a value drawn anew; none where there are none."""
    drawn: dict[int, int] = {}
    for _ in range(1 + int(3 * source.random())):
        if places:
            place = places[int(len(places) * source.random())]
            drawn[place] = _pick(values[place], source)
    return drawn


def _pick(values: tuple[int, ...], source: random.Random) -> int:
    # Five times as fast as random.choice, and this is the innermost loop of the search.
    return values[int(len(values) * source.random())]
