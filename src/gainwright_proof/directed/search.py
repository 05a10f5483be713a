"""A search that goes where something is new, on the C that ships, and knows every way back.

Each moment that is kept was reached from reset by steps of the compiled C; what is seen there can
happen. What is not seen may happen all the same: the search leaves out most of what it could try.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gainwright.language.expression import Expression
from gainwright.language.model import Trial
from gainwright.semantics.array_code import ArrayCode
from gainwright_proof.directed.inputs import vectors_by_state
from gainwright_proof.directed.lanes import Lanes, Moments, Taken
from gainwright_proof.directed.novelty import Novelty, points, timers
from gainwright_proof.exploration.specialise import Specialiser

Vector = tuple[int, ...]
_BATCH = 256
"""Moments that are gone on from together."""
_HELD = 2
"""Ways of waiting in one moment for which time passes."""


@dataclass(frozen=True, slots=True)
class Batch:
    """Ticks of the search: moments, the inputs they saw, and what was taken."""

    nodes: NDArray[np.int64]
    """Numbers of the moments before."""
    before: Moments
    inputs: NDArray[np.int32]
    taken: Taken

    @property
    def single(self) -> bool:
        """Whether each lane took one tick; if not, what it took last may be another row."""
        return bool((self.taken.ticks == 1).all())


class DirectedSearch:
    """Searches one trial from reset."""

    def __init__(
        self, trial: Trial, expressions: Sequence[Expression],
        exported: Mapping[str, bytes] | None = None,
    ) -> None:  # fmt: skip
        """``expressions`` are what is looked for; their comparisons of variables matter too."""
        self._trial = trial
        self._lanes = Lanes(trial, exported)
        specialiser = Specialiser(trial)
        self.conditions = [specialiser.condition(c.name) for c in trial.conditions]
        wanted = [*self.conditions, *map(specialiser.expanded, expressions)]
        self._wanted = wanted
        self._code = ArrayCode(trial)
        self._novelty = Novelty(trial, self._code, wanted)
        self.vectors = vectors_by_state(trial)
        """Inputs that are tried in each state, in the order of the trial."""
        self._vectors = [np.array(v, dtype=np.int32).reshape(len(v), -1) for v in self.vectors]
        self._timers = timers(trial)
        self._points = points(trial, wanted)
        first = self._lanes.reset()
        self._states, self._memories = [int(first.states[0])], [first.variables[0]]
        self._from: list[tuple[int, Vector, int]] = [(-1, (), 0)]
        self._ticks = [0]
        self._waiting: deque[int] = deque([0])
        self._kept = {(self._states[0], self._memories[0].tobytes())}
        self._novelty.of(first)

    def begin_again(self, apart: Container[Expression]) -> None:
        """Go on from every moment known that is new once those that differ in one of these
        comparisons are no longer compared with each other."""
        self._novelty = Novelty(self._trial, self._code, self._wanted, apart)
        known = Moments(np.array(self._states, dtype=np.int32), np.stack(self._memories))
        self._waiting = deque(self._novelty.of(known).tolist())

    @property
    def timers(self) -> frozenset[str]:
        """Variables that count the ticks of a state."""
        return frozenset(self._points)

    @property
    def moments(self) -> int:
        return len(self._states)

    def ticks_to(self, node: int) -> int:
        return self._ticks[node]

    def spread(self, state: int, most: int) -> list[int]:
        """Return moments known in a state, spread over the search."""
        own = [node for node, its in enumerate(self._states) if its == state]
        return own[:: -(-len(own) // most)] if own else []

    def tried(self, node: int, inputs: NDArray[np.int32]) -> Batch:
        """Return a tick from one moment with each of the inputs, whatever they hold."""
        count = len(inputs)
        return self._step(np.full(count, node), inputs, np.ones(count, dtype=np.uint32))

    def run(self, look: Callable[[Batch], bool], most_moments: int) -> None:
        """Search until ``look`` says that nothing more is wanted, nothing is new, or so many
        moments are kept."""
        while self._waiting and self.moments < most_moments:
            nodes = [self._waiting.popleft() for _ in range(min(_BATCH, len(self._waiting)))]
            for batch in self._tried(nodes):
                if not look(batch):
                    return
                self._keep(batch)

    def path_to(self, node: int) -> list[tuple[Vector, int]]:
        """Return the inputs of the way from reset, each with the ticks for which it is held."""
        path = []
        while node > 0:
            node, vector, ticks = self._from[node]
            path.append((vector, ticks))
        return path[::-1]

    def _tried(self, nodes: Sequence[int]) -> Iterator[Batch]:
        """Yield a tick with each way of each moment, and the waits that begin with one."""
        lanes = np.concatenate(
            [np.full(len(self._vectors[self._states[n]]), n, dtype=np.int64) for n in nodes]
        )
        inputs = np.concatenate([self._vectors[self._states[n]] for n in nodes])
        single = self._step(lanes, inputs, np.ones(len(lanes), dtype=np.uint32))
        yield single
        held = list(self._held(single))
        if held:
            chosen = np.array([lane for lane, _ in held])
            most = np.array([ticks for _, ticks in held], dtype=np.uint32)
            yield self._step(lanes[chosen], inputs[chosen], most)

    def _held(self, batch: Batch) -> Iterator[tuple[int, int]]:
        """Yield lanes in which time passes, and until when."""
        count: dict[int, int] = {}
        for lane, row in enumerate(batch.taken.rows.tolist()):
            name = self._timers.get(row)
            node = int(batch.nodes[lane])
            if name is None or count.get(node, 0) >= _HELD:
                continue
            value = int(batch.before.variables[lane, self._trial.index.variables[name]])
            later = [point - value for point in self._points[name] if point > value + 1]
            if later:
                count[node] = count.get(node, 0) + 1
                yield lane, min(later)

    def _step(
        self, nodes: NDArray[np.int64], inputs: NDArray[np.int32], most: NDArray[np.uint32]
    ) -> Batch:
        states = np.array([self._states[n] for n in nodes], dtype=np.int32)
        before = Moments(states, np.stack([self._memories[n] for n in nodes]))
        return Batch(nodes, before, inputs, self._lanes.hold(before, inputs, most))

    def _keep(self, batch: Batch) -> None:
        taken = batch.taken
        whole = np.column_stack([taken.after.states, taken.after.variables])
        sound = np.flatnonzero(taken.rows >= 0)
        lanes = np.sort(sound[np.unique(whole[sound], axis=0, return_index=True)[1]])
        for lane in lanes[self._novelty.of(taken.after.chosen(lanes))].tolist():
            key = int(taken.after.states[lane]), taken.after.variables[lane].tobytes()
            if key in self._kept:
                continue
            self._kept.add(key)
            node, ticks = int(batch.nodes[lane]), int(taken.ticks[lane])
            self._waiting.append(len(self._states))
            self._states.append(key[0])
            self._memories.append(taken.after.variables[lane].copy())
            self._from.append((node, tuple(batch.inputs[lane].tolist()), ticks))
            self._ticks.append(self._ticks[node] + ticks)
