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
from gainwright.semantics.python_code import ARRAY, Check, CodeWriter

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_OVER_TICKS = frozenset({RequirementKind.STEP})


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
        self.formulas = [_function(writer, r.formula) for r in self.requirements]
        self.triggers = [_function(writer, r.trigger or Boolean(True)) for r in self.requirements]

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
        columns = _Columns(self._monitor.trial, part)
        found = []
        for index, requirement in enumerate(self._monitor.requirements):
            if requirement.id in self._violated:
                continue
            tick = self._first_violation(index, requirement, columns)
            if tick is not None:
                self._violated.add(requirement.id)
                found.append(self._monitor.described(requirement, self._moment, tick, part))
        self._moment += len(part.states) - 1
        return sorted(found, key=lambda violation: violation.tick)

    def _first_violation(
        self, index: int, requirement: Requirement, columns: _Columns
    ) -> int | None:
        """Return the moment, counted from the start of the part."""
        formula, trigger = self._monitor.formulas[index], self._monitor.triggers[index]
        if requirement.kind in _OVER_TICKS:
            return _first(~columns.over_ticks(formula), offset=1)
        first = requirement.kind is RequirementKind.INITIAL
        if first and self._moment > 0:
            return None
        holds = columns.at_moments(formula)
        if first:
            return None if holds[0] else 0
        if requirement.kind is RequirementKind.INVARIANT:
            return _first(~holds, offset=0)
        response = requirement.kind is RequirementKind.RESPONSE
        triggered = columns.over_ticks(trigger) if response else columns.at_moments(trigger)
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
        late = _first((met > due) & (due < len(holds)), offset=0)
        if late is not None:
            return int(due[late])
        open_ended = _first(met == never, offset=0)
        if open_ended is not None:
            self._waiting_since[requirement.id] = self._moment + int(since[open_ended])
        return None


class _Columns:
    """A run as named arrays, at the moments and over the ticks."""

    def __init__(self, trial: Trial, run: Run) -> None:
        kept = {
            **_columns(trial.variables, run.variables),
            **_columns(trial.outputs, run.outputs),
        }
        self._states = run.states
        self._moments = kept
        self._before = {
            **{name: column[:-1] for name, column in kept.items()},
            **_columns(trial.inputs, run.inputs),
        }
        self._after = {name: column[1:] for name, column in kept.items()}

    def at_moments(self, function: Check) -> NDArray[np.bool_]:
        return self._filled(function(self._moments, self._states, {}, None), len(self._states))

    def over_ticks(self, function: Check) -> NDArray[np.bool_]:
        results = function(self._before, self._states[:-1], self._after, self._states[1:])
        return self._filled(results, len(self._states) - 1)

    @staticmethod
    def _filled(results: tuple[Any, ...], length: int) -> NDArray[np.bool_]:
        import numpy as np

        return np.broadcast_to(np.asarray(results[0], dtype=bool), (length,))


def _function(writer: CodeWriter, expression: Expression) -> Check:
    return writer.function([expression])


def _first(flags: NDArray[np.bool_], offset: int) -> int | None:
    places = flags.nonzero()[0]
    return int(places[0]) + offset if len(places) else None


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
