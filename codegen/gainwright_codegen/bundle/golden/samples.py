"""Single ticks from arbitrary memories: every row with several values, every threshold from both
sides.

The sequencer must do right from any memory inside the ranges, reachable or not; so these vectors
see what the walks from reset leave out, like an action that changed nothing on their way.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator

from gainwright.language.expression import Expression, references
from gainwright.language.model import Signal, Trial
from gainwright_codegen.bundle.golden.domain import (
    any_values,
    constants,
    input_domain,
    variable_domain,
)
from gainwright_codegen.bundle.golden.explorer import Explorer
from gainwright_codegen.bundle.golden.fulfil import fulfil
from gainwright_codegen.bundle.golden.scenario import Scenario, Segment

_SAMPLES_PER_ROW = 3
_TRIES_PER_ROW = 300
_TRIES_PER_STEP = 100


class Sampler:
    """Makes the single ticks of one trial."""

    def __init__(self, trial: Trial, explorer: Explorer, source: random.Random) -> None:
        self._trial, self._explorer, self._source = trial, explorer, source
        self._inputs, self._variables = input_domain(trial), variable_domain(trial)
        self._states = trial.index.states

    def row_samples(self) -> Iterator[tuple[int, Scenario]]:
        """Yield rows by number with a tick that takes them, several ticks for each row."""
        for number, row in enumerate(self._trial.rows):
            found = 0
            for _ in range(_TRIES_PER_ROW):
                memory = (
                    self._states[row.source],
                    *any_values(self._variables, self._source),
                )
                self._explorer.memory = memory
                start = any_values(self._inputs, self._source)
                inputs, holds = fulfil(self._explorer, number, self._inputs, start, self._source)
                if holds:
                    yield number, Scenario(memory, (Segment(1, inputs),))
                    found += 1
                if found == _SAMPLES_PER_ROW:
                    break

    def threshold_samples(self) -> Iterator[Scenario]:
        """Yield ticks in pairs: between the two, one value makes one step and a condition flips."""
        signals = (*self._trial.variables, *self._trial.inputs)
        trees: dict[str, list[Expression]] = {}
        for bit, condition in enumerate(self._trial.conditions):
            named = references(condition.expression)
            above = [tree for name in sorted(named) for tree in trees.get(name, ())]
            trees[condition.name] = [condition.expression, *above]
            read = frozenset().union(*(references(tree) for tree in trees[condition.name]))
            numbers = constants(trees[condition.name])
            for place, signal in enumerate(signals):
                if signal.name in read:
                    for low in _steps(signal, numbers):
                        yield from self._flip(bit, place, low)

    def _flip(self, bit: int, place: int, low: int) -> Iterator[Scenario]:
        """Yield a pair for the step from ``low`` to ``low + 1``, if one was found at which the
        condition flips and, rather, another row is taken."""
        fallback: tuple[Scenario, Scenario] | None = None
        for _ in range(_TRIES_PER_STEP):
            state = self._source.randrange(len(self._states))
            values = any_values((*self._variables, *self._inputs), self._source)
            pair = [(*values[:place], value, *values[place + 1 :]) for value in (low, low + 1)]
            first, second = (self._taken(state, values) for values in pair)
            if (first[0] ^ second[0]) >> bit & 1:
                scenarios = (self._scenario(state, pair[0]), self._scenario(state, pair[1]))
                if first[1] != second[1]:
                    yield from scenarios
                    return
                fallback = fallback or scenarios
        yield from fallback or ()

    def _taken(self, state: int, values: tuple[int, ...]) -> tuple[int, frozenset[int]]:
        """Return the conditions and the row of a tick."""
        scenario = self._scenario(state, values)
        self._explorer.memory = scenario.start
        conditions = self._explorer.conditions(scenario.segments[0].inputs)
        return conditions, self._explorer.run(scenario.segments[0])

    def _scenario(self, state: int, values: tuple[int, ...]) -> Scenario:
        count = len(self._variables)
        return Scenario((state, *values[:count]), (Segment(1, values[count:]),))


def _steps(signal: Signal, numbers: Iterable[int]) -> list[int]:
    """Return the lower ends of the steps around numbers that a signal can make."""
    lows = {number + offset for number in numbers for offset in (-1, 0)}
    return sorted(low for low in lows if signal.low <= low < signal.high)
