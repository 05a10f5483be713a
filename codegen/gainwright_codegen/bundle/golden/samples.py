"""Single ticks from arbitrary memories: every row, and every threshold from both sides.

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
    values_near,
    variable_domain,
)
from gainwright_codegen.bundle.golden.explorer import Explorer
from gainwright_codegen.bundle.golden.fulfil import fulfil
from gainwright_codegen.bundle.golden.scenario import Scenario, Segment

_TRIES_PER_ROW = 300
_FINDS_PER_ROW = 12
_TRIES_PER_STEP = 100


class Sampler:
    """Makes the single ticks of one trial."""

    def __init__(self, trial: Trial, explorer: Explorer, source: random.Random) -> None:
        self._trial, self._explorer, self._source = trial, explorer, source
        self._inputs, self._variables = input_domain(trial), variable_domain(trial)
        self._states = trial.index.states

    def row_samples(self) -> Iterator[tuple[int, Scenario]]:
        """Yield rows by number with a tick that takes them."""
        for number in range(len(self._trial.rows)):
            scenario = self._row_sample(number)
            if scenario is not None:
                yield number, scenario

    def _row_sample(self, number: int) -> Scenario | None:
        """Return a tick that takes a row and in which its actions change as much as was found."""
        near = self._compared((*self._trial.rows[number].when, *self._trial.rows[number].unless))
        best, most, finds = None, -1, 0
        for _ in range(_TRIES_PER_ROW):
            scenario = self._attempt(number, near)
            if scenario is not None:
                changed, finds = self._changed(scenario), finds + 1
                if changed > most:
                    best, most = scenario, changed
            if finds == _FINDS_PER_ROW or most == len(self._trial.rows[number].actions):
                break
        return best

    def _attempt(self, number: int, near: dict[int, tuple[int, ...]]) -> Scenario | None:
        # Variables are searched like inputs, only those that the row reads, and only near what
        # they are compared with: a row may want several values that chance does not bring
        # together, like the top rung and all repeats used.
        state = self._states[self._trial.rows[number].source]
        values = list(any_values((*self._variables, *self._inputs), self._source))

        def scenario(part: tuple[int, ...]) -> Scenario:
            for place, value in zip(near, part, strict=True):
                values[place] = value
            return self._scenario(state, tuple(values))

        found, holds = fulfil(
            self._explorer.cubes[number],
            lambda part: self._conditions(scenario(part)),
            tuple(near.values()),
            tuple(values[place] for place in near),
            self._source,
        )
        return scenario(found) if holds else None

    def _changed(self, scenario: Scenario) -> int:
        """Return how many variables a tick changes: an action is seen only if it changes one."""
        self._explorer.memory = scenario.start
        self._explorer.run(scenario.segments[0])
        after = self._explorer.memory
        return sum(old != new for old, new in zip(scenario.start[1:], after[1:], strict=True))

    def _compared(self, conditions: Iterable[str]) -> dict[int, tuple[int, ...]]:
        """Return, by place, what variables and inputs are compared with in conditions."""
        trees = {condition.name: condition.expression for condition in self._trial.conditions}
        reached, waiting = set[str](), set(conditions)
        while waiting:
            name = waiting.pop()
            reached.add(name)
            waiting |= (references(trees[name]) & trees.keys()) - reached
        near = dict[int, tuple[int, ...]]()
        for place, signal in enumerate((*self._trial.variables, *self._trial.inputs)):
            named = [trees[name] for name in reached if signal.name in references(trees[name])]
            if named:
                near[place] = values_near(signal, constants(named))
        return near

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
        return self._conditions(scenario), self._explorer.run(scenario.segments[0])

    def _conditions(self, scenario: Scenario) -> int:
        """Put the explorer where a scenario begins; return the conditions that hold there."""
        self._explorer.memory = scenario.start
        return self._explorer.conditions(scenario.segments[0].inputs)

    def _scenario(self, state: int, values: tuple[int, ...]) -> Scenario:
        count = len(self._variables)
        return Scenario((state, *values[:count]), (Segment(1, values[count:]),))


def _steps(signal: Signal, numbers: Iterable[int]) -> list[int]:
    """Return the lower ends of the steps around numbers that a signal can make."""
    lows = {number + offset for number in numbers for offset in (-1, 0)}
    return sorted(low for low in lows if signal.low <= low < signal.high)
