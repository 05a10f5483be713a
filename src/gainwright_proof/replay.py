"""Makes a trace from inputs by the reference semantics."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from gainwright.language.model import Trial
from gainwright.semantics.machine import NotSingleHitError, ReferenceMachine
from gainwright.semantics.monitor import Snapshot
from gainwright_proof.verdict import Tick, Trace


def snapshot(machine: ReferenceMachine) -> Snapshot:
    """Return the present moment of a machine."""
    return Snapshot(machine.state, dict(machine.variables), machine.outputs())


def replay(
    trial: Trial,
    inputs_by_tick: Iterable[Mapping[str, int]],
    first: Snapshot | None = None,
) -> Trace:
    """Return the trace of a run over the given inputs, one mapping of all inputs per tick.

    The run begins after power-on, or at ``first``. It ends early, with a tick that names no row,
    where not exactly one row holds. Raises InputValueError for inputs outside their ranges.
    """
    machine = ReferenceMachine(trial)
    if first is not None:
        machine.restore(first.state, first.variables)
    begin = snapshot(machine)
    ticks = []
    for inputs in inputs_by_tick:
        try:
            row = machine.tick(inputs)
        except NotSingleHitError:
            ticks.append(Tick(dict(inputs), "", (), snapshot(machine)))
            break
        saturated = tuple(v.name for v in trial.variables if v.name in machine.saturated)
        ticks.append(Tick(dict(inputs), row.id, saturated, snapshot(machine)))
    return Trace(begin, tuple(ticks), from_power_on=first is None)
