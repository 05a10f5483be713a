"""Judges a recorded run against the requirements with numpy, whole or part by part as it comes.

Gives the same violations as :class:`gainwright.semantics.monitor.Monitor` fed tick by tick, except
that only the first violation of each requirement is returned; thousands of times faster.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from gainwright.language.expression import Boolean, Expression
from gainwright.language.model import Requirement, RequirementKind, Signal, Trial
from gainwright.semantics.monitor import MONITORED, Monitor, Snapshot, Violation
from gainwright.semantics.python_code import ARRAY, CodeWriter

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Run:
    """A recorded run of n ticks; columns in the order of the file, boolean values as 0 and 1."""

    states: NDArray[np.integer[Any]]
    """State index at the n + 1 moments, shape (n + 1,)."""
    variables: NDArray[np.integer[Any]]
    """Shape (n + 1, number of variables)."""
    outputs: NDArray[np.integer[Any]]
    """Shape (n + 1, number of outputs)."""
    inputs: NDArray[np.integer[Any]]
    """What each tick saw, shape (n, number of inputs)."""


class RunMonitor:
    """Compiled once per trial, then used for any number of runs."""

    def __init__(self, trial: Trial) -> None:
        self.trial = trial
        self.requirements = [r for r in trial.requirements if r.kind in MONITORED]
        names = [state.name for state in trial.states]
        writer = CodeWriter(names, trial.conditions, ARRAY, trial.boolean_names)
        step, response = RequirementKind.STEP, RequirementKind.RESPONSE
        bounded = RequirementKind.BOUNDED
        self.over_ticks = _Group(
            writer,
            {r.id: r.formula for r in self.requirements if r.kind is step},
            {r.id: r.trigger or Boolean(True) for r in self.requirements if r.kind is response},
        )
        """What is judged of ticks: formulas, and triggers of responses."""
        self.at_moments = _Group(
            writer,
            {r.id: r.formula for r in self.requirements if r.kind is not step},
            {r.id: r.trigger or Boolean(True) for r in self.requirements if r.kind is bounded},
        )

    def violations(self, run: Run) -> list[Violation]:
        """Return the first violation of each requirement, in the order of time."""
        return self.watch().add(run)

    def watch(self) -> RunWatch:
        """Return a judge for a run that comes in parts."""
        return RunWatch(self)

    def described(self, requirement: Requirement, start: int, tick: int, run: Run) -> Violation:
        """Replay the last tick in the scalar monitor, which knows how to say the values.

        Args:
            requirement: that is violated.
            start: tick at which ``run`` begins.
            tick: of the violation, counted from the start of ``run``.
            run: the part of the run that shows it.
        """
        snapshots = [self._snapshot(run, moment) for moment in (max(tick - 1, 0), tick)]
        monitor = Monitor(self.trial, snapshots[0])
        if tick > 0:
            inputs = _named(self.trial.inputs, run.inputs[tick - 1])
            monitor.observe(inputs, snapshots[1])
        return monitor.describe(requirement, start + tick)

    def _snapshot(self, run: Run, moment: int) -> Snapshot:
        return Snapshot(
            self.trial.states[int(run.states[moment])].name,
            _named(self.trial.variables, run.variables[moment]),
            _named(self.trial.outputs, run.outputs[moment]),
        )


class RunWatch:
    """Judges one run, part by part; each requirement is judged once at each moment."""

    def __init__(self, monitor: RunMonitor) -> None:
        self._monitor = monitor
        self._moment = 0
        self._waiting_since: dict[str, int] = {}
        self._violated: set[str] = set()

    def add(self, part: Run) -> list[Violation]:
        """Return the first violation of each requirement not violated before, in order of time.

        Args:
            part: its first moment is the last moment of the part before.
        """
        part = replace(part, inputs=_as_taken(self._monitor.trial.inputs, part.inputs))
        judged = _judge(self._monitor, part)
        found = []
        for requirement in self._monitor.requirements:
            if requirement.id in self._violated:
                continue
            tick = self._first_violation(requirement, judged)
            if tick is not None:
                self._violated.add(requirement.id)
                found.append(self._monitor.described(requirement, self._moment, tick, part))
        self._moment += len(part.states) - 1
        return sorted(found, key=lambda violation: violation.tick)

    def _first_violation(self, requirement: Requirement, judged: _Judged) -> int | None:
        """Return the moment, counted from the start of the part."""
        holds = judged.formulas[requirement.id]
        if requirement.kind is RequirementKind.STEP:
            return _first_false(holds, offset=1)
        if requirement.kind is RequirementKind.INITIAL:
            return 0 if self._moment == 0 and not holds[0] else None
        if requirement.kind is RequirementKind.INVARIANT:
            return _first_false(holds, offset=0)
        response = requirement.kind is RequirementKind.RESPONSE
        triggered = judged.triggers[requirement.id]
        if requirement.id not in self._waiting_since and not triggered.any():
            return None
        return self._first_late(requirement, holds, triggered, response)

    def _first_late(
        self,
        requirement: Requirement,
        holds: NDArray[np.bool_],
        triggered: NDArray[np.bool_],
        response: bool,
    ) -> int | None:
        import numpy as np

        moments = np.arange(len(holds))
        never = 2 * len(holds)
        next_true = np.minimum.accumulate(np.where(holds, moments, never)[::-1])[::-1]
        # Moment at which the formula is first asked for.
        since = np.flatnonzero(triggered) + response
        met = next_true[since]
        if requirement.id in self._waiting_since:
            since = np.append(self._waiting_since.pop(requirement.id) - self._moment, since)
            met = np.append(next_true[0], met)
        due = since + requirement.later_ticks
        late = _first((met > due) & (due < len(holds)))
        if late is not None:
            return int(due[late])
        open_ended = _first(met == never)
        if open_ended is not None:
            self._waiting_since[requirement.id] = self._moment + int(since[open_ended])
        return None


@dataclass(frozen=True, slots=True)
class _Judged:
    """Formulas and triggers by requirement, one value for each tick or moment."""

    formulas: dict[str, NDArray[np.bool_]]
    triggers: dict[str, NDArray[np.bool_]]


class _Group:
    """Formulas and triggers that are computed together, since they share most of their parts."""

    def __init__(
        self,
        writer: CodeWriter,
        formulas: Mapping[str, Expression],
        triggers: Mapping[str, Expression],
    ) -> None:
        self._formulas, self._triggers = tuple(formulas), tuple(triggers)
        self._compute = writer.function([*formulas.values(), *triggers.values()])

    def judged(self, count: int, *values: Any) -> _Judged:
        """Return what holds in ``count`` places; ``values`` as :data:`Check` takes them."""
        results = [_filled(result, count) for result in self._compute(*values)]
        split = len(self._formulas)
        return _Judged(
            dict(zip(self._formulas, results[:split], strict=True)),
            dict(zip(self._triggers, results[split:], strict=True)),
        )


def _judge(monitor: RunMonitor, run: Run) -> _Judged:
    """Compute everything that is required of a run, over its ticks and at its moments."""
    trial, states = monitor.trial, run.states
    kept = {**_columns(trial.variables, run.variables), **_columns(trial.outputs, run.outputs)}
    before = {
        **{name: column[:-1] for name, column in kept.items()},
        **_columns(trial.inputs, run.inputs),
    }
    after = {name: column[1:] for name, column in kept.items()}
    ticks = monitor.over_ticks.judged(len(states) - 1, before, states[:-1], after, states[1:])
    moments = monitor.at_moments.judged(len(states), kept, states, {}, None)
    return _Judged(ticks.formulas | moments.formulas, ticks.triggers | moments.triggers)


def _filled(result: Any, count: int) -> NDArray[np.bool_]:
    import numpy as np

    if np.ndim(result):
        flags: NDArray[np.bool_] = result
        return flags
    return np.full(count, result, dtype=bool)


def _first_false(flags: NDArray[np.bool_], offset: int) -> int | None:
    return None if flags.all() else int(flags.argmin()) + offset


def _first(flags: NDArray[np.bool_]) -> int | None:
    return int(flags.argmax()) if flags.any() else None


def _as_taken(signals: Sequence[Signal], table: NDArray[np.integer[Any]]) -> NDArray[Any]:
    """Return inputs as a tick takes them: out of its range, the nearest value of the range."""
    lows, highs = [s.low for s in signals], [s.high for s in signals]
    return table.clip(lows, highs) if signals else table


def _columns(
    signals: Sequence[Signal], table: NDArray[np.integer[Any]]
) -> Mapping[str, NDArray[np.int64]]:
    # 64 bits hold every intermediate, as the 32-bit check of the specification promises.
    return {signal.name: table[:, index].astype("int64") for index, signal in enumerate(signals)}


def _named(signals: Sequence[Signal], values: Sequence[int]) -> dict[str, int]:
    return {signal.name: int(value) for signal, value in zip(signals, values, strict=True)}
