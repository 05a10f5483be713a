"""Runs of the reference semantics that reach many moments quickly.

Their moments are reachable for certain, so what fails in one is no fact. The search is
pseudo-random with a fixed seed: it goes on from the region of moments visited least, holds inputs
until the region changes, and prefers the row taken least.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from gainwright.proof.smt.fast_machine import FastMachine, Values
from gainwright.spec.attainable import critical_values
from gainwright.spec.model import Kind, Row, Trial
from gainwright.spec.scope import Bounds

CHOICES = 6
"""Input valuations compared before each hold."""
MOMENTS_PER_REGION = 12
"""Moments of one region from which the search goes on."""


@dataclass(frozen=True, slots=True)
class Held:
    """Inputs held for some ticks, from the end of another one on."""

    parent: int
    """Index of the one before; -1 after power-on."""
    inputs: Values
    ticks: int


@dataclass(frozen=True, slots=True)
class Sample:
    """One tick that was taken."""

    held: int
    """Index of the inputs held, among which it is tick number ``tick``, counted from 1."""
    tick: int
    row: Row
    before: Values
    inputs: Values
    after: Values


@dataclass
class Samples:
    """Distinct ticks, and how to come to each from power-on."""

    ticks: list[Sample] = field(default_factory=list)
    held: list[Held] = field(default_factory=list)

    def inputs(self, sample: Sample) -> list[Values]:
        """Return the inputs of all ticks from power-on to the sample and with it."""
        parts = []
        index, ticks = sample.held, sample.tick
        while index >= 0:
            parts.append([self.held[index].inputs] * ticks)
            index = self.held[index].parent
            ticks = self.held[index].ticks if index >= 0 else 0
        return [inputs for part in reversed(parts) for inputs in part]


@dataclass(frozen=True, slots=True)
class _Moment:
    held: int
    state: str
    variables: Values


Region = tuple[str, int]


class Sampler:
    """Collects samples; each call of :meth:`run` goes on where the last one ended."""

    def __init__(self, trial: Trial, seed: int = 0) -> None:
        self.samples = Samples()
        self._machine = FastMachine(trial)
        self._random = random.Random(seed)
        self._domains = input_domains(trial)
        self._taken = {row.id: 0 for row in trial.rows}
        self._known: set[tuple[object, ...]] = set()
        self._moments: dict[Region, list[_Moment]] = {}
        self._visits: dict[Region, int] = {}
        variables = {variable.name: variable.initial for variable in trial.variables}
        self._archive(_Moment(-1, trial.initial_state, variables))

    def run(self, most_ticks: int) -> None:
        """Take about ``most_ticks`` more ticks."""
        left = most_ticks
        while left > 0:
            region = min(self._visits, key=self._visits.__getitem__)
            self._visits[region] += 1
            moment = self._random.choice(self._moments[region])
            left -= 1 + self._hold(moment, region, left)

    def _archive(self, moment: _Moment) -> None:
        region = self._region(moment.state, moment.variables)
        self._visits.setdefault(region, 0)
        moments = self._moments.setdefault(region, [])
        if len(moments) < MOMENTS_PER_REGION:
            moments.append(moment)
        else:
            moments[self._random.randrange(MOMENTS_PER_REGION)] = moment

    def _region(self, state: str, variables: Values) -> Region:
        return state, self._machine.region(variables)

    def _hold(self, moment: _Moment, region: Region, most_ticks: int) -> int:
        """Hold inputs from a moment on until the region changes; return the ticks taken."""
        machine, index = self._machine, len(self.samples.held)
        state, variables = moment.state, moment.variables
        inputs = self._next_inputs(state, variables)
        ticks = 0
        while ticks < most_ticks:
            values = {**variables, **inputs}
            row = machine.row(state, values)
            if row is None:
                break
            after = machine.after(row, variables, values)
            ticks += 1
            self._note(Sample(index, ticks, row, variables, inputs, after))
            resting = row.target == state and after == variables
            state, variables = row.target, after
            self._taken[row.id] += 1
            if resting or self._region(state, variables) != region:
                break
        if ticks:
            self.samples.held.append(Held(moment.held, inputs, ticks))
            self._archive(_Moment(index, state, variables))
        return ticks

    def _note(self, sample: Sample) -> None:
        key = (sample.row.id, *sample.before.values(), *sample.after.values())
        if key not in self._known:
            self._known.add(key)
            self.samples.ticks.append(sample)

    def _next_inputs(self, state: str, variables: Values) -> Values:
        choices = [
            {name: self._random.choice(domain) for name, domain in self._domains.items()}
            for _ in range(CHOICES)
        ]
        return min(choices, key=lambda choice: self._count(state, {**variables, **choice}))

    def _count(self, state: str, values: Values) -> int:
        row = self._machine.row(state, values)
        return -1 if row is None else self._taken[row.id]


def input_domains(trial: Trial) -> Mapping[str, Sequence[int]]:
    """Return the values of each input at which some condition can change."""
    signals = {s.name: Bounds(s.kind, s.low, s.high) for s in (*trial.inputs, *trial.variables)}
    expressions = [condition.expression for condition in trial.conditions]
    return {
        signal.name: [0, 1]
        if signal.kind is Kind.TRUTH
        else critical_values(signal.name, expressions, signals)
        for signal in trial.inputs
    }
