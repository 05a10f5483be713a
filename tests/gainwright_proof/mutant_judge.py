"""Judges a small trial by trying everything with the reference machine, one tick at a time.

An independent check of what the mutants' cascade says; slow, so for trials with few moments.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

from gainwright.language.critical_values import critical_values
from gainwright.language.model import RequirementKind, Trial
from gainwright.language.scope import Bounds
from gainwright.semantics.evaluate import Moment, Step, evaluate_over
from gainwright.semantics.machine import NotSingleHitError, ReferenceMachine

Node = tuple[str, tuple[int, ...]]


@dataclass
class Behaviour:
    """All that a trial can do, with every combination of critical inputs."""

    ticks: dict[tuple[Node, tuple[int, ...]], Node] = field(default_factory=dict)
    rows: set[str] = field(default_factory=set)
    broken: set[str] = field(default_factory=set)
    """Invariants, steps and ``single_hit/<state>`` that fail."""


def behaviour(trial: Trial) -> Behaviour:
    machine, found = ReferenceMachine(trial), Behaviour()
    bounds = {s.name: Bounds(s.kind, s.low, s.high) for s in (*trial.inputs, *trial.variables)}
    expressions = [condition.expression for condition in trial.conditions]
    vectors = list(
        itertools.product(*(critical_values(s.name, expressions, bounds) for s in trial.inputs))
    )
    first: Node = (machine.state, tuple(machine.variables.values()))
    waiting, seen = [first], {first}
    while waiting:
        node = waiting.pop()
        before = _moment(trial, machine, node)
        _judge_moment(trial, before, found)
        for vector in vectors:
            machine.restore(node[0], dict(zip(machine.variables, node[1], strict=True)))
            inputs = {s.name: value for s, value in zip(trial.inputs, vector, strict=True)}
            try:
                found.rows.add(machine.tick(inputs).id)
            except NotSingleHitError:
                found.broken.add(f"single_hit/{node[0]}")
                continue
            after_node = (machine.state, tuple(machine.variables.values()))
            found.ticks[node, vector] = after_node
            _judge_tick(trial, before, inputs, _moment(trial, machine, after_node), found)
            if after_node not in seen:
                seen.add(after_node)
                waiting.append(after_node)
    return found


def _moment(trial: Trial, machine: ReferenceMachine, node: Node) -> Moment:
    variables = dict(zip((v.name for v in trial.variables), node[1], strict=True))
    machine.restore(node[0], variables)
    return Moment({**variables, **machine.outputs()}, node[0])


def _judge_moment(trial: Trial, moment: Moment, found: Behaviour) -> None:
    for requirement in trial.requirements:
        invariant = requirement.kind is RequirementKind.INVARIANT
        if invariant and not evaluate_over(requirement.formula, Step(moment)):
            found.broken.add(requirement.id)


def _judge_tick(
    trial: Trial, before: Moment, inputs: dict[str, int], after: Moment, found: Behaviour
) -> None:
    known = {**before.values, **inputs}
    for condition in trial.conditions:
        known[condition.name] = evaluate_over(condition.expression, Step(Moment(known)))
    step = Step(Moment(known, before.state), after)
    for requirement in trial.requirements:
        over_tick = requirement.kind is RequirementKind.STEP
        if over_tick and not evaluate_over(requirement.formula, step):
            found.broken.add(requirement.id)
        if requirement.kind is RequirementKind.RESPONSE and requirement.within_ticks == 1:
            triggered = evaluate_over(requirement.trigger, step)
            if triggered and not evaluate_over(requirement.formula, Step(after)):
                found.broken.add(requirement.id)
