"""Looks for premises in a sample of the nodes of a finished search, before another one is made.

Looked at are a node of every situation, the nodes before and after the first tick of every row, and
nodes spread evenly over the search, which is in the order of distance from reset. What is not found
there may occur all the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np

from gainwright.language.expression import Expression
from gainwright.language.model import Trial
from gainwright.semantics.array_code import ArrayCode, filled_boolean
from gainwright.semantics.array_machine import ArrayMachine
from gainwright_proof.exploration.engine import Engine, Note
from gainwright_proof.exploration.vectors import StateVectors

SPREAD_NODES = 2_000
_LANES = 1 << 15
"""Ticks that are judged together."""


class PremiseSample:
    """Judges premises at nodes of a search."""

    def __init__(self, trial: Trial, engine: Engine, vectors: Sequence[StateVectors]) -> None:
        """``vectors`` tell apart by state what the premises can notice of the inputs."""
        self._trial = trial
        self._engine = engine
        self._vectors = [
            np.array(chosen.vectors, dtype=np.int32).reshape(len(chosen.vectors), -1)
            for chosen in vectors
        ]
        self._distinct = [max(1, chosen.distinct) for chosen in vectors]
        self._code = ArrayCode(trial)
        self._machine = ArrayMachine(trial, self._code)

    def first_ticks(self, wanted: Mapping[int, tuple[Expression, bool]]) -> dict[int, int]:
        """Return ticks after reset at which premises were seen, by their keys.

        ``wanted`` holds each premise, and whether it is over a tick.
        """
        left, seen = dict(wanted), {}
        for nodes, inputs in self._batches():
            for key, node in self._judge(nodes, inputs, left).items():
                seen[key] = self._engine.ticks_to(node) + int(left.pop(key)[1])
            if not left:
                break
        return seen

    def _batches(self) -> Iterator[tuple[list[int], np.ndarray]]:
        """Yield nodes and, beside each, inputs; all combinations of a node are in one batch."""
        nodes: list[int] = []
        inputs: list[np.ndarray] = []
        for node, every in self._chosen():
            state, _ = self._engine.memory_of(node)
            table = self._vectors[state]
            table = table if every else table[: self._distinct[state]]
            nodes += [node] * len(table)
            inputs.append(table)
            if len(nodes) >= _LANES:
                yield nodes, np.concatenate(inputs)
                nodes, inputs = [], []
        if nodes:
            yield nodes, np.concatenate(inputs)

    def _chosen(self) -> Iterator[tuple[int, bool]]:
        """Yield nodes, and whether all inputs are tried there or those that behave differently."""
        engine, count = self._engine, self._engine.figures.held
        rows = range(len(self._trial.rows))
        places = [engine.first(Note.ROW_TAKEN, row) for row in rows]
        spread = range(0, count, max(1, count // SPREAD_NODES))
        yield from ((node, False) for node in _once((p.node for p in places if p), spread))
        yield from ((node, True) for node in engine.situations())

    def _judge(
        self,
        nodes: Sequence[int],
        inputs: np.ndarray,
        wanted: Mapping[int, tuple[Expression, bool]],
    ) -> dict[int, int]:
        """Return a node at which each premise that holds somewhere holds."""
        trial, machine, count = self._trial, self._machine, len(nodes)
        memories = {node: self._engine.memory_of(node) for node in dict.fromkeys(nodes)}
        states = np.array([memories[node][0] for node in nodes], dtype=np.int64)
        held = np.array([memories[node][1] for node in nodes], dtype=np.int64).reshape(count, -1)
        variables = {v.name: held[:, k] for k, v in enumerate(trial.variables)}
        given = {s.name: inputs[:, k].astype(np.int64) for k, s in enumerate(trial.inputs)}
        before = {**variables, **given, **machine.outputs(states, variables)}
        ticked = machine.tick(states, before)
        after = {**ticked.variables, **machine.outputs(ticked.states, ticked.variables)}
        found = {}
        for key, (premise, over_tick) in wanted.items():
            (value,) = self._code.function([premise])(before, states, after, ticked.states)
            holds = filled_boolean(value, count)
            if over_tick:
                holds = holds & (ticked.rows >= 0)
            if holds.any():
                found[key] = nodes[int(np.argmax(holds))]
        return found


def _once(*groups: Iterable[int]) -> Iterator[int]:
    yield from dict.fromkeys(node for group in groups for node in group)
