"""Finds short scenarios that together visit as many rows of a trial as they can.

Random inputs almost never get past the first states. So the search keeps, for every situation that
it has reached (state and variables, counters of time left out), the shortest way to it found so
far, and expands the nearest one first: for each row of its state it looks for inputs that fulfil as
many of the row's conditions as possible, and holds them until something happens. Rows still missing
then are tried from arbitrary memories. It runs on the compiled sequencer; what the scenarios must
give is computed by the Python reference.
"""

from __future__ import annotations

import heapq
import random
from dataclasses import dataclass

from gainwright.spec.model import Signal, Trial
from gainwright_codegen.golden.domain import (
    Inputs,
    any_values,
    changed_inputs,
    input_domain,
    variable_domain,
)
from gainwright_codegen.golden.explorer import Explorer
from gainwright_codegen.golden.scenario import Memory, Scenario, Segment
from gainwright_codegen.golden.selection import Route, select

_ATTEMPTS_PER_ROW = 3
_TRIES_PER_ATTEMPT = 60
_LEAPS_PER_ROW = 300
_ENDING_TICKS = 30
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
    ticks_from_elsewhere: int = 5000
    """Of all others together; they visit what the first do not reach."""


@dataclass(frozen=True, slots=True)
class Found:
    """Scenarios, and the rows that they visit (ids, in the trial's order)."""

    scenarios: tuple[Scenario, ...]
    rows: tuple[str, ...]


def find_scenarios(trial: Trial, limits: SearchLimits | None = None, seed: int = 1) -> Found:
    """Search scenarios; the same trial, limits and seed give the same result.

    Raises:
        InputError: the sequencer of the trial can not be compiled.
    """
    limits = limits or SearchLimits()
    search = _Search(trial, limits, random.Random(seed))
    search.run()
    whole, covered = select(search.from_reset.values(), limits.ticks_from_reset)
    parts, covered = select(search.short_routes(), limits.ticks_from_elsewhere, covered)
    ids = tuple(row.id for number, row in enumerate(trial.rows) if number in covered)
    return Found(tuple(route.scenario for route in (*whole, *parts)), ids)


@dataclass(frozen=True, slots=True)
class _Situation:
    """A situation and the shortest way to it found so far."""

    memory: Memory
    route: Route


class _Search:
    def __init__(self, trial: Trial, limits: SearchLimits, source: random.Random) -> None:
        self._trial, self._limits, self._source = trial, limits, source
        self._explorer = Explorer(trial)
        self._domain = input_domain(trial)
        self._variable_domain = variable_domain(trial)
        states = [state.name for state in trial.states]
        self._state_of = [states.index(row.source) for row in trial.rows]
        self._nearest: dict[Memory, _Situation] = {}
        self._waiting: list[tuple[int, Memory]] = []
        self._expanded: set[Memory] = set()
        self.from_reset: dict[int, Route] = {}
        """Row number to the shortest route from reset that ends with it."""
        self.from_situation: dict[int, Route] = {}
        """The same from any situation."""

    def run(self) -> None:
        """Fill ``from_reset`` and ``from_situation``."""
        memory = self._explorer.reset()
        self._remember(Route(Scenario(memory)))
        for _ in range(self._limits.situations):
            if len(self.from_reset) == len(self._trial.rows):
                break
            self._expand(self._next())
        for row in range(len(self._trial.rows)):
            if row not in self.from_reset:
                self._leap(row)

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

    def _leap(self, row: int) -> None:
        """Try to take a row from anywhere: a memory may lie too deep to be reached in the search,
        and the sequencer must do right in those that can not be reached at all."""
        state = self._state_of[row]
        for _ in range(_LEAPS_PER_ROW):
            memory = (state, *any_values(self._variable_domain, self._source))
            self._explorer.memory = memory
            inputs, holds = self._inputs_for(row, any_values(self._domain, self._source))
            if holds:
                ticks, rows = self._explorer.hold(inputs, 1)
                part = Route(Scenario(memory)).longer(Segment(ticks, inputs), rows)
                _note(self.from_situation, part, rows)
                return

    def short_routes(self) -> list[Route]:
        """Return for each row a route with only its last ticks, in the order of the rows."""
        return [self._ending(route) for _, route in sorted(self.from_situation.items())]

    def _ending(self, route: Route) -> Route:
        """Return the last ticks of a route, as a route of their own."""
        skip = max(0, route.ticks - _ENDING_TICKS)
        self._explorer.memory = route.scenario.start
        ending: Route | None = None
        for segment in route.scenario.segments:
            before = min(skip, segment.ticks)
            skip -= before
            self._explorer.run(Segment(before, segment.inputs))
            rest = Segment(segment.ticks - before, segment.inputs)
            if rest.ticks:
                ending = ending or Route(Scenario(self._explorer.memory))
                ending = ending.longer(rest, self._explorer.run(rest))
        return ending or route

    def _pursue(self, row: int, situation: _Situation) -> bool:
        """Try to take a row from a situation; return whether it was taken."""
        self._explorer.memory = situation.memory
        kind = self._kind(situation.memory)
        whole, part = situation.route, Route(Scenario(situation.memory))
        before = whole.scenario.segments
        inputs = before[-1].inputs if before else any_values(self._domain, self._source)
        for patience in _PATIENCE_TICKS:
            inputs, holds = self._inputs_for(row, inputs)
            ticks, rows = self._explorer.hold(inputs, 1 if holds else patience)
            segment = Segment(ticks, inputs)
            whole, part = whole.longer(segment, rows), part.longer(segment, rows)
            _note(self.from_reset, whole, rows)
            _note(self.from_situation, part, rows)
            if row in rows or self._kind(self._explorer.memory) != kind:
                break
        self._remember(whole)
        return row in rows

    def _inputs_for(self, row: int, inputs: Inputs) -> tuple[Inputs, bool]:
        """Return inputs that fulfil the most conditions of a row, and whether it holds now."""
        cube = self._explorer.cubes[row]
        fewest = cube.violations(self._explorer.conditions(inputs))
        for _ in range(_TRIES_PER_ATTEMPT):
            if fewest == 0:
                break
            other = changed_inputs(self._domain, inputs, self._source)
            violations = cube.violations(self._explorer.conditions(other))
            if violations <= fewest:
                inputs, fewest = other, violations
        return inputs, fewest == 0

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


def _note(shortest: dict[int, Route], route: Route, rows: frozenset[int]) -> None:
    for row in rows:
        if row not in shortest or route.ticks < shortest[row].ticks:
            shortest[row] = route


def _coarse(variable: Signal, value: int) -> int:
    return value if variable.high - variable.low <= _EXACT_RANGE else 0
