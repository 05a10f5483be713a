"""Single ticks from arbitrary memories: one for every row.

The sequencer must do right from any memory inside the ranges, reachable or not; so these vectors
see what the walks from reset leave out, like an action that changed nothing on their way.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator

from gainwright.language.critical_values import constants, values_near
from gainwright.language.expression import references
from gainwright.language.model import Trial
from gainwright_codegen.bundle.golden.domain import (
    any_values,
    input_domain,
    variable_domain,
)
from gainwright_codegen.bundle.golden.explorer import Explorer
from gainwright_codegen.bundle.golden.fulfil import fulfil
from gainwright_codegen.bundle.golden.sample import Sample

_TRIES_PER_ROW = 300
_EFFORTS = (60, 1_200)
"""Changes in one try; the second is for rows that the first did not find."""
_FINDS_PER_ROW = 12


class Sampler:
    """Makes the single ticks of one trial."""

    def __init__(self, trial: Trial, explorer: Explorer, source: random.Random) -> None:
        self._trial, self._explorer, self._source = trial, explorer, source
        self._inputs, self._variables = input_domain(trial), variable_domain(trial)
        self._states = trial.index.states

    def row_samples(self) -> Iterator[tuple[int, Sample]]:
        """Yield rows by number with a tick that takes them."""
        for number in range(len(self._trial.rows)):
            sample = self._row_sample(number)
            if sample is not None:
                yield number, sample

    def _row_sample(self, number: int) -> Sample | None:
        """Return a tick that takes a row and in which its actions change as much as was found."""
        near = self._compared((*self._trial.rows[number].when, *self._trial.rows[number].unless))
        best, most, finds = None, -1, 0
        for effort in [effort for effort in _EFFORTS for _ in range(_TRIES_PER_ROW)]:
            if best is not None and effort != _EFFORTS[0]:
                break
            sample = self._attempt(number, near, effort)
            if sample is not None:
                changed, finds = self._changed(sample), finds + 1
                if changed > most:
                    best, most = sample, changed
            if finds == _FINDS_PER_ROW or most == len(self._trial.rows[number].actions):
                break
        return best

    def _attempt(self, number: int, near: dict[int, tuple[int, ...]], effort: int) -> Sample | None:
        # Variables are searched like inputs, only those that the row reads, and only near what
        # they are compared with: a row may want several values that chance does not bring
        # together, like the top rung and all repeats used.
        state = self._states[self._trial.rows[number].source]
        values = list(any_values((*self._variables, *self._inputs), self._source))

        def sample(part: tuple[int, ...]) -> Sample:
            for place, value in zip(near, part, strict=True):
                values[place] = value
            return self._sample(state, tuple(values))

        found, holds = fulfil(
            self._explorer.cubes[number],
            lambda part: self._conditions(sample(part)),
            tuple(near.values()),
            tuple(values[place] for place in near),
            self._source,
            effort,
        )
        return sample(found) if holds else None

    def _changed(self, sample: Sample) -> int:
        """Return how many variables a tick changes: an action is seen only if it changes one."""
        self._explorer.memory = sample.start
        self._explorer.take(sample.inputs)
        after = self._explorer.memory
        return sum(old != new for old, new in zip(sample.start[1:], after[1:], strict=True))

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

    def _conditions(self, sample: Sample) -> int:
        """Put the explorer where a sample begins; return the conditions that hold there."""
        self._explorer.memory = sample.start
        return self._explorer.conditions(sample.inputs)

    def _sample(self, state: int, values: tuple[int, ...]) -> Sample:
        count = len(self._variables)
        return Sample((state, *values[:count]), values[count:])
