"""The same questions as the explorer asks, answered with the Python reference and plain sets.

Every input vector of the whole input space is tried in every reachable node.
"""

from __future__ import annotations

import itertools
from collections import deque
from dataclasses import dataclass, field
from typing import Any

from gainwright.language.model import RequirementKind, Trial
from gainwright.semantics.evaluate import Moment, Step, evaluate_over
from gainwright.semantics.machine import NotSingleHitError, ReferenceMachine

Node = tuple[str, tuple[int, ...]]
ENDLESS = None
_SHOWN_BY = {
    RequirementKind.INITIAL: 0, RequirementKind.INVARIANT: 0, RequirementKind.REACHABLE: 1
}  # fmt: skip
"""Value of the formula at a moment that shows something."""


@dataclass
class Explored:
    distance: dict[Node, int] = field(default_factory=dict)
    successors: dict[Node, set[Node]] = field(default_factory=dict)
    rows: set[str] = field(default_factory=set)
    saturating: set[str] = field(default_factory=set)
    misses: set[tuple[str, str]] = field(default_factory=set)
    """Row and the only condition that was not as it wants it."""
    shown: dict[str, int] = field(default_factory=dict)
    """By subject: length of the shortest run that shows it."""
    begun: dict[str, dict[Node, int]] = field(default_factory=dict)
    """Of a response: nodes where the time is running, with the length of the shortest run."""


class ByHand:
    def __init__(self, trial: Trial) -> None:
        self.trial = trial
        self.machine = ReferenceMachine(trial)
        ranges = [range(signal.low, signal.high + 1) for signal in trial.inputs]
        names = [signal.name for signal in trial.inputs]
        self.inputs = [
            dict(zip(names, values, strict=True)) for values in itertools.product(*ranges)
        ]
        self.result = Explored()

    def moment(self, node: Node, inputs: dict[str, int] | None = None) -> Moment:
        self.go_to(node)
        values: dict[str, int] = {**self.machine.variables, **self.machine.outputs()}
        if inputs is not None:
            conditions = self.machine.conditions(inputs)
            values |= inputs | {name: int(boolean) for name, boolean in conditions.items()}
        return Moment(values, node[0])

    def go_to(self, node: Node) -> None:
        names = (variable.name for variable in self.trial.variables)
        self.machine.restore(node[0], dict(zip(names, node[1], strict=True)))

    def here(self) -> Node:
        return self.machine.state, tuple(self.machine.variables.values())

    def explore(self) -> Explored:
        first = self.here()
        self.result.distance[first] = 0
        waiting = deque([first])
        while waiting:
            node = waiting.popleft()
            self._judge_moment(node)
            found = set()
            for inputs in self.inputs:
                new = self._tick(node, inputs)
                if new is not None:
                    found.add(new)
                    if new not in self.result.distance:
                        self.result.distance[new] = self.result.distance[node] + 1
                        waiting.append(new)
            self.result.successors[node] = found
        return self.result

    def _note(self, subject: str, length: int) -> None:
        self.result.shown.setdefault(subject, length)

    def _judge_moment(self, node: Node) -> None:
        step = Step(self.moment(node))
        first = self.result.distance[node] == 0
        for requirement in self.trial.requirements:
            if requirement.kind is RequirementKind.INITIAL and not first:
                continue
            if requirement.kind in _SHOWN_BY and _SHOWN_BY[requirement.kind] == evaluate_over(
                requirement.formula, step
            ):
                self._note(requirement.id, self.result.distance[node])

    def _tick(self, node: Node, inputs: dict[str, int]) -> Node | None:
        length = self.result.distance[node] + 1
        before = self.moment(node, inputs)
        self._note_misses(node, before)
        self.go_to(node)
        try:
            row = self.machine.tick(inputs)
        except NotSingleHitError:
            self._note(f"single_hit/{node[0]}", length)
            return None
        self.result.rows.add(row.id)
        self.result.saturating |= self.machine.saturated
        new = self.here()
        step = Step(before, self.moment(new))
        for requirement in self.trial.requirements:
            if requirement.kind is RequirementKind.STEP:
                if not evaluate_over(requirement.formula, step):
                    self._note(requirement.id, length)
            elif requirement.kind is RequirementKind.RESPONSE and evaluate_over(
                requirement.trigger, step
            ):
                self.result.begun.setdefault(requirement.id, {}).setdefault(new, length)
        return new

    def _note_misses(self, node: Node, before: Moment) -> None:
        for row in self.trial.rows_by_state[node[0]]:
            wrong = [name for name in row.when if not before.values[name]]
            wrong += [name for name in row.unless if before.values[name]]
            if len(wrong) == 1:
                self.result.misses.add((row.id, wrong[0]))

    def waits(self, holds: Any) -> dict[Node, int | None]:
        """Longest time from each node until ``holds`` does, by plain iteration."""
        successors = self.result.successors
        waits: dict[Node, int | None] = dict.fromkeys(successors, 0)
        open_nodes = {node for node in successors if not holds(node)}
        for length in range(1, len(open_nodes) + 2):
            still = {
                node
                for node in open_nodes
                if not successors[node] or any(waits[n] == length - 1 for n in successors[node])
            }
            waits |= dict.fromkeys(still, length)
            if not still:
                return waits
        # Whatever is still open after as many ticks as there are nodes has gone round a circle.
        return {n: ENDLESS if w is not None and w > len(open_nodes) else w
                for n, w in waits.items()}  # fmt: skip

    def holds(self, formula: Any) -> dict[Node, bool]:
        return {
            node: bool(evaluate_over(formula, Step(self.moment(node))))
            for node in self.result.distance
        }

    def stuck(self) -> int:
        ends = {state.name for state in self.trial.states if state.end}
        reaching = {node for node in self.result.distance if node[0] in ends}
        while True:
            more = {
                n for n, s in self.result.successors.items() if n not in reaching and s & reaching
            }
            if not more:
                return len(self.result.distance) - len(reaching)
            reaching |= more
