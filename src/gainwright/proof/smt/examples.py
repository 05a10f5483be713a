"""Says and judges single moments and runs, with the reference semantics."""

from __future__ import annotations

from gainwright.proof.smt.question import Moment
from gainwright.proof.verdict import Trace
from gainwright.semantics.machine import ReferenceMachine
from gainwright.semantics.monitor import Monitor
from gainwright.spec.model import Trial
from gainwright.spec.sentence import words


def described(moment: Moment) -> str:
    """Return a moment and its inputs in words."""
    values = {**moment.variables, **moment.inputs}
    listed = ", ".join(f"{name} = {value}" for name, value in values.items())
    return f"the state {words(moment.state)} with {listed}" if listed else words(moment.state)


def true_conditions(trial: Trial, moment: Moment) -> list[str]:
    """Return the names of the conditions that hold."""
    return [name for name, truth in _truths(trial, moment).items() if truth]


def holding_rows(trial: Trial, moment: Moment) -> list[str]:
    """Return the ids of the rows that hold."""
    truths = _truths(trial, moment)
    return [
        row.id
        for row in trial.rows_by_state[moment.state]
        if all(truths[name] for name in row.when) and not any(truths[name] for name in row.unless)
    ]


def violated_in(trial: Trial, trace: Trace) -> frozenset[str]:
    """Return the ids of the requirements that a run violates."""
    monitor = Monitor(trial, trace.first)
    found = {violation.requirement_id for violation in monitor.first_violations}
    for tick in trace.ticks:
        if tick.row:
            found |= {v.requirement_id for v in monitor.observe(tick.inputs, tick.after)}
    return frozenset(found)


def _truths(trial: Trial, moment: Moment) -> dict[str, bool]:
    machine = ReferenceMachine(trial)
    machine.restore(moment.state, moment.variables)
    return machine.conditions(moment.inputs)
