"""Says and judges single moments and runs, with the reference semantics."""

from __future__ import annotations

from gainwright.language.model import Trial
from gainwright.language.sentence import words
from gainwright.semantics.machine import ReferenceMachine
from gainwright.semantics.monitor import Monitor
from gainwright_proof.induction.question import Moment
from gainwright_proof.verdict import Trace


def described(moment: Moment) -> str:
    """Return a moment and its inputs in words."""
    values = {**moment.variables, **moment.inputs}
    listed = ", ".join(f"{name} = {value}" for name, value in values.items())
    return f"the state {words(moment.state)} with {listed}" if listed else words(moment.state)


def true_conditions(trial: Trial, moment: Moment) -> list[str]:
    """Return the names of the conditions that hold."""
    return [name for name, boolean in _booleans(trial, moment).items() if boolean]


def holding_rows(trial: Trial, moment: Moment) -> list[str]:
    """Return the ids of the rows that hold."""
    booleans = _booleans(trial, moment)
    return [
        row.id
        for row in trial.rows_by_state[moment.state]
        if all(booleans[name] for name in row.when)
        and not any(booleans[name] for name in row.unless)
    ]


def violated_in(trial: Trial, trace: Trace) -> frozenset[str]:
    """Return the ids of the requirements that a run violates."""
    monitor = Monitor(trial, trace.first, after_reset=trace.from_power_on)
    found = {violation.requirement_id for violation in monitor.first_violations}
    for tick in trace.ticks:
        if tick.row:
            found |= {v.requirement_id for v in monitor.observe(tick.inputs, tick.after)}
    return frozenset(found)


def _booleans(trial: Trial, moment: Moment) -> dict[str, bool]:
    machine = ReferenceMachine(trial)
    machine.restore(moment.state, moment.variables)
    return machine.conditions(moment.inputs)
