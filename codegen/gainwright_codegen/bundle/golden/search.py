"""Finds short scenarios that together visit as many rows of a trial as they can.

Random inputs almost never get past the first states. So the search keeps, for every situation that
it has reached (state and variables, counters of time left out), the shortest way to it found so
far, and expands the nearest one first: for each row of its state it looks for inputs that fulfil as
many of the row's conditions as possible, and holds them until something happens. Samples from
arbitrary memories do the rest. It runs on the compiled sequencer; what the scenarios must give is
computed by the Python reference.
"""

from __future__ import annotations

import heapq
import random
from dataclasses import dataclass

from gainwright.language.model import Signal, Trial
from gainwright_codegen.bundle.golden.domain import any_values, input_domain
from gainwright_codegen.bundle.golden.explorer import Explorer
from gainwright_codegen.bundle.golden.fulfil import fulfil
from gainwright_codegen.bundle.golden.samples import Sampler
from gainwright_codegen.bundle.golden.scenario import Memory, Scenario, Segment
from gainwright_codegen.bundle.golden.selection import Route, select

_ATTEMPTS_PER_ROW = 3
_PATIENCE_TICKS = (1, 4, 30, 250, 2000, 12000)
"""For how long inputs are held, one after the other, in the hope that something happens."""
_EXACT_RANGE = 256


@dataclass(frozen=True, slots=True)
class SearchLimits:
    """How far to search, and how long the scenarios may be."""

    situations: int = 300
    """Number of situations expanded."""
    ticks_from_reset: int = 10000
    """Of all scenarios that begin with a reset machine, together."""


@dataclass(frozen=True, slots=True)
class Found:
    """Scenarios, and the rows that they visit (ids, in the trial's order)."""

    scenarios: tuple[Scenario, ...]
    rows: tuple[str, ...]


def find_scenarios(trial: Trial, limits: SearchLimits | None = None, seed: int = 1) -> Found:
    """Search scenarios; the same trial, limits and seed give the same result.

    Raises:
        InputError: the sequencer of the trial cannot be compiled.
    """
    limits = limits or SearchLimits()
    explorer, source = Explorer(trial), random.Random(seed)
    search = _Search(trial, explorer, limits, source)
    search.run()
    routes, taken = select(search.from_reset.values(), limits.ticks_from_reset)
    sampler = Sampler(trial, explorer, source)
    samples = list(sampler.row_samples())
    taken |= {row for row, _ in samples}
    scenarios = [route.scenario for route in routes]
    scenarios += [scenario for _, scenario in samples]
    scenarios += sampler.threshold_samples()
    ids = tuple(row.id for number, row in enumerate(trial.rows) if number in taken)
    return Found(tuple(dict.fromkeys(scenarios)), ids)


@dataclass(frozen=True, slots=True)
class _Situation:
    """A situation and the shortest way to it found so far."""

    memory: Memory
    route: Route


class _Search:
    def __init__(
        self, trial: Trial, explorer: Explorer, limits: SearchLimits, source: random.Random
    ) -> None:
        self._trial, self._limits, self._source = trial, limits, source
        self._explorer = explorer
        self._domain = input_domain(trial)
        self._state_of = [trial.index.states[row.source] for row in trial.rows]
        self._nearest: dict[Memory, _Situation] = {}
        self._waiting: list[tuple[int, Memory]] = []
        self._expanded: set[Memory] = set()
        self.from_reset: dict[int, Route] = {}
        """Row number to the shortest route from reset that ends with it."""

    def run(self) -> None:
        """Fill ``from_reset``."""
        memory = self._explorer.reset()
        self._remember(Route(Scenario(memory)))
        for _ in range(self._limits.situations):
            if len(self.from_reset) == len(self._trial.rows):
                break
            self._expand(self._next())

    def _next(self) -> Memory:
        """Return the nearest situation not yet expanded; if there is none, begin again."""
        if not self._waiting:
            self._expanded.clear()
            self._waiting = [(known.route.ticks, kind) for kind, known in self._nearest.items()]
            heapq.heapify(self._waiting)
        _, kind = heapq.heappop(self._waiting)
        return kind

    def _expand(self, kind: Memory) -> None:
        if kind in self._expanded:
            return
        self._expanded.add(kind)
        for row in (k for k, state in enumerate(self._state_of) if state == kind[0]):
            for _ in range(_ATTEMPTS_PER_ROW):
                if self._pursue(row, self._nearest[kind]):
                    break

    def _pursue(self, row: int, situation: _Situation) -> bool:
        """Try to take a row from a situation; return whether it was taken."""
        self._explorer.memory = situation.memory
        kind = self._kind(situation.memory)
        route = situation.route
        before = route.scenario.segments
        inputs = before[-1].inputs if before else any_values(self._domain, self._source)
        for patience in _PATIENCE_TICKS:
            inputs, holds = fulfil(
                self._explorer.cubes[row],
                self._explorer.conditions,
                self._domain,
                inputs,
                self._source,
            )
            ticks, rows = self._explorer.hold(inputs, 1 if holds else patience)
            route = route.longer(Segment(ticks, inputs), rows)
            self._note(route, rows)
            if row in rows or self._kind(self._explorer.memory) != kind:
                break
        self._remember(route)
        return row in rows

    def _note(self, route: Route, rows: frozenset[int]) -> None:
        for row in rows:
            if row not in self.from_reset or route.ticks < self.from_reset[row].ticks:
                self.from_reset[row] = route

    def _kind(self, memory: Memory) -> Memory:
        """Return what tells situations apart: the memory without counters of time."""
        return (memory[0], *map(_coarse, self._trial.variables, memory[1:]))

    def _remember(self, route: Route) -> None:
        """Keep the present situation if no way to it is known that is as short."""
        memory = self._explorer.memory
        kind = self._kind(memory)
        known = self._nearest.get(kind)
        if known is None or route.ticks < known.route.ticks:
            self._nearest[kind] = _Situation(memory, route)
            heapq.heappush(self._waiting, (route.ticks, kind))


def _coarse(variable: Signal, value: int) -> int:
    return value if variable.high - variable.low <= _EXACT_RANGE else 0
