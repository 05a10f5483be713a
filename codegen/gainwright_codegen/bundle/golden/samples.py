"""Single ticks from arbitrary memories: one for every row.

The sequencer must do right from any memory inside the ranges, reachable or not; so these vectors
see what the walks from reset leave out, like an action that changed nothing on their way.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping, Sequence

from gainwright.language.model import Trial
from gainwright_codegen.bundle.golden.domain import (
    Compared,
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
_EFFORT_WHERE = 200
_FINDS_PER_ROW = 12


class Sampler:
    """Makes the single ticks of one trial."""

    def __init__(self, trial: Trial, explorer: Explorer, source: random.Random) -> None:
        self._trial, self._explorer, self._source = trial, explorer, source
        self._inputs, self._variables = input_domain(trial), variable_domain(trial)
        self._states, self._compared = trial.index.states, Compared(trial)

    def row_samples(self) -> Iterator[tuple[int, Sample]]:
        """Yield rows by number with a tick that takes them."""
        for number in range(len(self._trial.rows)):
            sample = self._row_sample(number)
            if sample is not None:
                yield number, sample

    def _row_sample(self, number: int) -> Sample | None:
        """Return a tick that takes a row and in which its actions change as much as was found."""
        row = self._trial.rows[number]
        near = self._compared.near((*row.when, *row.unless))
        best, most, finds = None, -1, 0
        for effort in [effort for effort in _EFFORTS for _ in range(_TRIES_PER_ROW)]:
            if best is not None and effort != _EFFORTS[0]:
                break
            sample = self._attempt(number, near, effort)
            if sample is not None:
                changed, finds = self._changed(sample), finds + 1
                if changed > most:
                    best, most = sample, changed
            if finds == _FINDS_PER_ROW or most == len(row.actions):
                break
        return best

    def _attempt(self, number: int, near: dict[int, tuple[int, ...]], effort: int) -> Sample | None:
        # Variables are searched like inputs, only those that the row reads, and only near what
        # they are compared with: a row may want several values that chance does not bring
        # together, like the top rung and all repeats used.
        values = list(any_values((*self._variables, *self._inputs), self._source))
        self._explorer.put(values)
        cube, conditions = self._explorer.cubes[number], self._explorer.conditions_with

        def violations(drawn: Mapping[int, int]) -> int:
            return cube.violations(conditions(drawn))

        if not fulfil(violations, near, values, self._source, effort):
            return None
        return self._sample(number, values)

    def attempt_where(
        self, number: int, condition: str, missing: Callable[[Sample], int]
    ) -> Sample | None:
        """Return a tick that takes a row, or would if one condition that it asks for came out the
        other way, and of which nothing is missing; None where chance does not find one."""
        row, cube = self._trial.rows[number], self._explorer.cubes[number]
        others = cube.without(self._trial.index.condition_bits[condition])
        values = list(any_values((*self._variables, *self._inputs), self._source))
        self._explorer.put(values)

        def violations(drawn: Mapping[int, int]) -> int:
            changed = [drawn.get(place, value) for place, value in enumerate(values)]
            held = self._explorer.conditions_with(drawn)
            return others.violations(held) + missing(self._sample(number, changed))

        near = self._compared.near((*row.when, *row.unless))
        held = fulfil(violations, near, values, self._source, _EFFORT_WHERE)
        return self._sample(number, values) if held else None

    def attempt(self, number: int) -> Sample | None:
        """Return some tick that takes a row, or None where chance does not find one."""
        row = self._trial.rows[number]
        near = self._compared.near((*row.when, *row.unless))
        return self._attempt(number, near, _EFFORTS[0])

    def _changed(self, sample: Sample) -> int:
        """Return how many variables a tick changes: an action is seen only if it changes one."""
        self._explorer.memory = sample.start
        self._explorer.take(sample.inputs)
        after = self._explorer.memory
        return sum(old != new for old, new in zip(sample.start[1:], after[1:], strict=True))

    def _sample(self, number: int, values: Sequence[int]) -> Sample:
        count, state = len(self._variables), self._states[self._trial.rows[number].source]
        return Sample((state, *values[:count]), tuple(values[count:]))
