"""Explores every state of a small trial under every combination of critical inputs, with numpy.

An independent check of the requirements of a trial whose times were cut to a few ticks; the proof
of the trial as shipped is another matter and does not use this.
"""

from __future__ import annotations

import itertools
import tomllib
from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from gainwright.language.attainable import critical_values
from gainwright.language.expression import COMPARISONS, Binary, Boolean, references, walk
from gainwright.language.load import trial_from_document
from gainwright.language.model import Kind, RequirementKind, Row, Signal, Trial
from gainwright.language.scope import Bounds
from gainwright.language.shipped import shipped_trial_path
from gainwright.semantics.evaluate import evaluate
from gainwright.semantics.python_code import ARRAY, CodeWriter

CUT_CONSTANTS = {
    "torque_build_up_ticks": 1,
    "brake_open_ticks": 1,
    "open_brake_timeout_ticks": 2,
    "brake_close_ticks": 1,
    "approach_timeout_ticks": 3,
    "reversal_ticks": 1,
    "move_timeout_ticks": 2,
    "noise_timeout_ticks": 2,
    "listen_timeout_ticks": 2,
    "settle_ticks": 1,
    "oscillation_limit_ticks": 1,
    "back_off_timeout_ticks": 2,
    "standstill_minimum_ticks": 1,
    "stop_timeout_ticks": 2,
    "top_rung": 4,
    "margin_rungs": 2,
    "verification_attempts": 2,
    "most_repeats": 2,
    "repeats_before_verification": 1,
}


def shipped_document() -> dict[str, Any]:
    return tomllib.loads(shipped_trial_path().read_text(encoding="utf-8"))


def cut_document() -> dict[str, Any]:
    """Return the shipped trial with times of a few ticks and a ladder of a few rungs."""
    document = shipped_document()
    for name, value in CUT_CONSTANTS.items():
        document["constants"][name]["value"] = value
    for name in [name for name in document["requirements"] if name.endswith("_as_stated")]:
        del document["requirements"][name]  # literals of the trial as shipped
    document["stages"]["speed_gain"]["ratio"] = 1.5  # keeps the margin with fewer rungs
    return document


def cut_trial() -> Trial:
    return trial_from_document(cut_document(), "cut.toml")


Node = tuple[int, tuple[int, ...]]
"""State index and variables."""


@dataclass(slots=True)
class Exploration:
    successors: dict[Node, set[Node]] = field(default_factory=dict)
    broken: dict[str, Node] = field(default_factory=dict)
    """Requirement and a node at or from which it is broken."""
    rows_taken: set[str] = field(default_factory=set)
    saturated: set[tuple[str, str]] = field(default_factory=set)
    """Row and variable whose assignment left the range."""
    many_hits: set[str] = field(default_factory=set)
    """States in which not exactly one row held."""
    reached: set[str] = field(default_factory=set)
    """Requirements of kind reachable that were reached."""


class Explorer:
    def __init__(self, trial: Trial) -> None:
        self.trial = trial
        self.index = {state.name: i for i, state in enumerate(trial.states)}
        groups = (trial.inputs, trial.variables, trial.outputs)
        booleans = frozenset(s.name for g in groups for s in g if s.kind is Kind.BOOLEAN)
        self.writer = CodeWriter(list(self.index), trial.conditions, ARRAY, booleans)
        bounds = {s.name: Bounds(s.kind, s.low, s.high) for s in (*trial.inputs, *trial.variables)}
        expressions = [c.expression for c in trial.conditions]
        judged = [*expressions, *(r.formula for r in trial.requirements)]
        choices = [self._sides(signal, judged, bounds) for signal in trial.inputs]
        table = np.array(list(itertools.product(*choices)))
        self.inputs = {s.name: table[:, i] for i, s in enumerate(trial.inputs)}
        self.conditions = self.writer.function(expressions)
        self.actions = [self.writer.function(list(r.actions.values())) for r in trial.rows]
        self.outputs = {
            s.name: self.writer.function([s.value_of(o) for o in trial.outputs])
            for s in trial.states
        }
        self.by_kind = defaultdict(list)
        for requirement in trial.requirements:
            self.by_kind[requirement.kind].append(requirement)
        steps = self.by_kind[RequirementKind.STEP]
        responses = self.by_kind[RequirementKind.RESPONSE]
        self.over_tick = self.writer.function(
            [r.formula for r in steps] + [r.trigger for r in responses]
        )
        self.compiled: dict[Any, Any] = {}
        self.single_values: dict[Node, dict[str, Any]] = {}
        self.response_edges: dict[str, set[Node]] = defaultdict(set)

    @staticmethod
    def _sides(signal: Signal, expressions: list[Any], bounds: dict[str, Bounds]) -> list[int]:
        """Return one value for each way in which the comparisons with literals can come out."""
        parts = [
            part
            for expression in expressions
            for part in walk(expression)
            if isinstance(part, Binary) and references(part) == {signal.name}
            if part.operator in COMPARISONS
        ]
        found = {
            tuple(evaluate(part, {signal.name: value}) for part in parts): value
            for value in critical_values(signal.name, expressions, bounds)
        }
        return [0, 1] if signal.kind is Kind.BOOLEAN else sorted(found.values())

    def explore(self, until_broken: str = "") -> Exploration:
        """Visit every node, or stop early once the named requirement is broken."""
        result = Exploration()
        first = (
            self.index[self.trial.initial_state],
            tuple(v.initial for v in self.trial.variables),
        )
        waiting, seen = [first], {first}
        while waiting and until_broken not in result.broken:
            node = waiting.pop()
            self._judge_moment(node, result)
            result.successors[node] = self._step(node, result)
            new = result.successors[node] - seen
            seen |= new
            waiting.extend(sorted(new))
        if not waiting:
            self._judge_times(result)
        return result

    def values(self, node: Node, count: int) -> dict[str, Any]:
        """Return variables and outputs of a node as arrays."""
        state, variables = node
        values = {
            v.name: np.full(count, value)
            for v, value in zip(self.trial.variables, variables, strict=True)
        }
        computed = self.outputs[self.trial.states[state].name](values, state, {}, None)
        for output, value in zip(self.trial.outputs, computed, strict=True):
            values[output.name] = np.broadcast_to(np.asarray(value).astype(int), (count,))
        return values

    def _step(self, node: Node, result: Exploration) -> set[Node]:
        count = len(next(iter(self.inputs.values())))
        before = {**self.values(node, count), **self.inputs}
        names = [c.name for c in self.trial.conditions]
        computed = self.conditions(before, node[0], {}, None)
        booleans = {
            n: np.broadcast_to(np.asarray(c), (count,))
            for n, c in zip(names, computed, strict=True)
        }
        hits = np.zeros(count, int)
        found: set[Node] = set()
        for number, row in enumerate(self.trial.rows):
            if row.source != self.trial.states[node[0]].name:
                continue
            mask = np.ones(count, bool)
            for name in row.when:
                mask &= booleans[name]
            for name in row.unless:
                mask &= ~booleans[name]
            hits += mask
            if mask.any():
                result.rows_taken.add(row.id)
                selected = {n: column[mask] for n, column in before.items()}
                found |= self._take(number, row, node, selected, result)
        if (hits != 1).any():
            result.many_hits.add(self.trial.states[node[0]].name)
        return found

    def _take(self, number: int, row: Row, node: Node, before: dict, result: Exploration) -> set:
        count = len(next(iter(before.values())))
        after = {v.name: before[v.name] for v in self.trial.variables}
        ranges = {v.name: v for v in self.trial.variables}
        computed = self.actions[number](before, node[0], {}, None)
        for name, value in zip(row.actions, computed, strict=True):
            value = np.broadcast_to(np.asarray(value).astype(int), (count,))
            after[name] = np.clip(value, ranges[name].low, ranges[name].high)
            if (after[name] != value).any():
                result.saturated.add((row.id, name))
        code = np.zeros(count, np.int64)
        for variable in self.trial.variables:
            width = variable.high - variable.low + 1
            code = code * width + (after[variable.name] - variable.low)
        target = self.index[row.target]
        found = set()
        _, firsts, members = np.unique(code, return_index=True, return_inverse=True)
        for group, first in enumerate(firsts):
            variables = tuple(int(after[v.name][first]) for v in self.trial.variables)
            there: Node = (target, variables)
            found.add(there)
            chosen = {n: column[members == group] for n, column in before.items()}
            self._judge_tick(node, there, chosen, result)
        return found

    def _judge_tick(self, node: Node, there: Node, before: dict, result: Exploration) -> None:
        count = len(next(iter(before.values())))
        after = self.values(there, count)
        judged = self.over_tick(before, node[0], after, there[0])
        steps = self.by_kind[RequirementKind.STEP]
        for requirement, holds in zip(steps, judged, strict=False):
            if not np.all(holds):
                result.broken.setdefault(requirement.id, node)
        responses = self.by_kind[RequirementKind.RESPONSE]
        for requirement, triggered in zip(responses, judged[len(steps) :], strict=True):
            if np.any(triggered):
                self.response_edges[requirement.id].add(there)

    def _holds(self, expression: Any, node: Node) -> bool:
        if expression not in self.compiled:
            self.compiled[expression] = self.writer.function([expression])
        if node not in self.single_values:
            self.single_values[node] = self.values(node, 1)
        computed = self.compiled[expression](self.single_values[node], node[0], {}, None)
        return bool(np.all(computed[0]))

    def _judge_moment(self, node: Node, result: Exploration) -> None:
        for requirement in self.by_kind[RequirementKind.INVARIANT]:
            if not self._holds(requirement.formula, node):
                result.broken.setdefault(requirement.id, node)
        for requirement in self.by_kind[RequirementKind.REACHABLE]:
            if self._holds(requirement.formula, node):
                result.reached.add(requirement.id)

    def _judge_times(self, result: Exploration) -> None:
        for requirement in self.by_kind[RequirementKind.BOUNDED]:
            starts = {
                node
                for node in result.successors
                if self._holds(requirement.trigger or Boolean(True), node)
            }
            self._judge_time(requirement, starts, requirement.within_ticks, result)
        for requirement in self.by_kind[RequirementKind.RESPONSE]:
            starts = self.response_edges[requirement.id]
            self._judge_time(requirement, starts, requirement.within_ticks - 1, result)

    def _judge_time(self, requirement: Any, starts: set, allowed: int, result: Exploration) -> None:
        """Follow every path from ``starts`` that avoids the formula, for the allowed ticks."""
        avoiding = {n for n in result.successors if not self._holds(requirement.formula, n)}
        frontier = starts & avoiding
        for _ in range(allowed):
            frontier = {s for node in frontier for s in result.successors[node]} & avoiding
        if frontier:
            result.broken.setdefault(requirement.id, min(frontier))
