"""Watches the requirements of a trial while it runs, tick by tick."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from gainwright.language.expression import Boolean, InState, Reference, walk
from gainwright.language.model import Requirement, RequirementKind, Trial
from gainwright.semantics.python_code import CodeWriter

MONITORED = frozenset(
    {
        RequirementKind.INITIAL,
        RequirementKind.INVARIANT,
        RequirementKind.STEP,
        RequirementKind.RESPONSE,
        RequirementKind.BOUNDED,
    }
)
"""Kinds that a single run can violate; reachability can only be shown by many."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What can be seen between two ticks."""

    state: str
    variables: Mapping[str, int]
    outputs: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Violation:
    requirement_id: str
    tick: int
    """Tick after which it showed, counted from 1; 0 is the moment after power-on."""
    values: Mapping[str, int | str]
    """What the formula read; ``next(name)`` is the value after the tick."""


class Monitor:
    """Judges every moment and tick of one run against all requirements that a run can violate."""

    def __init__(self, trial: Trial, first: Snapshot, after_reset: bool = True) -> None:
        """``first`` is the moment at which the run begins, tick 0.

        Requirements of the initial moment are judged only if that moment is ``after_reset``.
        """
        self._trial = trial
        self.tick = 0
        self._requirements = [r for r in trial.requirements if r.kind in MONITORED]
        self._signals = {s.name: s for s in (*trial.variables, *trial.outputs)}
        self._index = trial.index.states
        writer = CodeWriter(list(self._index), trial.conditions)
        always = Boolean(True)
        self._over_ticks = [r for r in self._requirements if r.kind is RequirementKind.STEP]
        self._responses = [r for r in self._requirements if r.kind is RequirementKind.RESPONSE]
        self._initial = [
            r for r in self._requirements if r.kind is RequirementKind.INITIAL and after_reset
        ]
        self._invariants = [r for r in self._requirements if r.kind is RequirementKind.INVARIANT]
        self._bounded = [r for r in self._requirements if r.kind is RequirementKind.BOUNDED]
        self._check_tick = writer.function(
            [r.formula for r in self._over_ticks] + [r.trigger or always for r in self._responses]
        )
        self._check_moment = writer.function(
            [r.formula for r in self._initial]
            + [r.formula for r in self._invariants]
            + [r.formula for r in self._responses]
            + [r.formula for r in self._bounded]
            + [r.trigger or always for r in self._bounded]
        )
        self._conditions = writer.function([c.expression for c in trial.conditions])
        self._waiting_since: dict[str, int] = {}
        self._inputs: Mapping[str, int] = {}
        self._before = self._now = first
        self.first_violations = tuple(self._judge_moment())

    def observe(self, inputs: Mapping[str, int], after: Snapshot) -> list[Violation]:
        """Judge one tick: the inputs it saw and the moment it led to."""
        self.tick += 1
        self._before, self._now, self._inputs = self._now, after, inputs
        return [*self._judge_tick(), *self._judge_moment()]

    def _judge_tick(self) -> Iterable[Violation]:
        before, after = self._before, self._now
        results = self._check_tick(
            {**self._inputs, **before.variables, **before.outputs},
            self._index[before.state],
            {**after.variables, **after.outputs},
            self._index[after.state],
        )
        count = len(self._over_ticks)
        for requirement, holds in zip(self._over_ticks, results[:count], strict=True):
            if not holds:
                yield self._violation(requirement)
        for requirement, triggered in zip(self._responses, results[count:], strict=True):
            if triggered:
                self._waiting_since.setdefault(requirement.id, self.tick)

    def _judge_moment(self) -> Iterable[Violation]:
        now = self._now
        results = iter(
            self._check_moment({**now.variables, **now.outputs}, self._index[now.state], {}, 0)
        )
        for requirement in self._initial:
            if not next(results) and self.tick == 0:
                yield self._violation(requirement)
        for requirement in self._invariants:
            if not next(results):
                yield self._violation(requirement)
        response_holds = [next(results) for _ in self._responses]
        bounded_holds = [next(results) for _ in self._bounded]
        for requirement, triggered in zip(self._bounded, results, strict=True):
            if triggered:
                self._waiting_since.setdefault(requirement.id, self.tick)
        timed = [*self._responses, *self._bounded]
        for requirement, holds in zip(timed, [*response_holds, *bounded_holds], strict=True):
            yield from self._judge_wait(requirement, bool(holds))

    def _judge_wait(self, requirement: Requirement, holds: bool) -> Iterable[Violation]:
        since = self._waiting_since.get(requirement.id)
        if since is None:
            return
        if holds:
            del self._waiting_since[requirement.id]
        elif self.tick - since >= requirement.later_ticks:
            del self._waiting_since[requirement.id]
            yield self._violation(requirement)

    def describe(self, requirement: Requirement, tick: int) -> Violation:
        """Return the last tick observed as a violation at ``tick``, with the values read."""
        return replace(self._violation(requirement), tick=tick)

    def _violation(self, requirement: Requirement) -> Violation:
        step = requirement.kind is RequirementKind.STEP
        plain = self._before if step else self._now
        known = {**self._inputs, **plain.variables, **plain.outputs}
        values: dict[str, int | str] = {"state": plain.state}
        for part in walk(requirement.formula):
            if isinstance(part, InState) and part.after:
                values["next(state)"] = self._now.state
            elif isinstance(part, Reference) and part.after:
                after = {**self._now.variables, **self._now.outputs}
                values[f"next({part.name})"] = self._named(part.name, after[part.name])
            elif isinstance(part, Reference):
                values[part.name] = self._named(part.name, self._value(part.name, known))
        return Violation(requirement.id, self.tick, values)

    def _named(self, name: str, value: int) -> int | str:
        named = self._signals[name].enumeration if name in self._signals else ""
        return self._trial.enumeration(named).values[value].name if named else value

    def _value(self, name: str, known: Mapping[str, int]) -> int:
        if name in known:
            return known[name]
        booleans = self._conditions(known, 0, {}, 0)
        return int(booleans[self._trial.index.conditions[name]])
