"""Why a trial ended: the row that decided it, and the reason that the trial gives to firmware."""

from __future__ import annotations

from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter

import numpy as np

from gainwright.language.model import EnumerationValue, Trial
from gainwright_sim.rehearsal.rehearse import Rehearsal
from gainwright_sim.rehearsal.start import refused_start

REASON_OUTPUT = "end_reason"
"""Output, an enumeration, by which a trial says why it ended."""
REFUSED = "start_refused"
"""Stands for a reason where the trial never began."""


@dataclass(frozen=True, slots=True)
class Ending:
    """The row that decided the end; what follows it is the way to rest."""

    time_s: float
    tick: int
    """Sequencer tick at which the row was taken, counted from 0."""
    state: str
    """Where the row was taken."""
    row: str
    why: str
    """The row's own sentence."""
    reason: str | None
    """Value of the output ``end_reason``; None if the trial has none."""
    words: str
    """The reason in words; empty without one."""
    remedy: str
    """What to do about it; empty if the trial does not say."""


def find_ending(rehearsal: Rehearsal) -> Ending | None:
    """Return why the trial ended, or did not begin; None if it did not end, or was ended by a
    violated requirement."""
    if not rehearsal.ended:
        return _refusal(rehearsal)
    reason = _reason(rehearsal)
    trial, states = rehearsal.trial, rehearsal.states()
    tick = _deciding_tick(rehearsal, states)
    row = trial.rows[int(rehearsal.log.row[tick])]
    return Ending(
        time_s=round((tick + 1) * trial.tick_us * 1e-6, 6),
        tick=tick,
        state=trial.states[int(states[tick])].name,
        row=row.id,
        why=row.why,
        reason=None if reason is None else reason.name,
        words="" if reason is None else reason.words,
        remedy="" if reason is None else reason.remedy,
    )


def _refusal(rehearsal: Rehearsal) -> Ending | None:
    trial = rehearsal.trial
    refused = None if rehearsal.violations else refused_start(trial, rehearsal.log)
    if refused is None:
        return None
    row = trial.rows[int(rehearsal.log.row[refused.tick])]
    return Ending(
        time_s=round((refused.tick + 1) * trial.tick_us * 1e-6, 6),
        tick=refused.tick,
        state=trial.initial_state,
        row=row.id,
        why=row.why,
        reason=REFUSED,
        words=refused.in_words(),
        remedy="",
    )


def _reason(rehearsal: Rehearsal) -> EnumerationValue | None:
    for signal in rehearsal.trial.outputs:
        if signal.name == REASON_OUTPUT:
            return rehearsal.trial.value_of(signal, int(rehearsal.output(REASON_OUTPUT)[-1]))
    return None


def _deciding_tick(rehearsal: Rehearsal, states: np.ndarray) -> int:
    """Return the tick at which the reason took its last value, or the way to rest began."""
    names = {signal.name for signal in rehearsal.trial.outputs}
    if REASON_OUTPUT in names:
        values = rehearsal.output(REASON_OUTPUT)
        before = np.flatnonzero(values != values[-1])
        return int(before[-1]) + 1 if len(before) else 0
    trial = rehearsal.trial
    moved = np.flatnonzero(states[1:] != states[:-1])
    closing = _closing_states(trial)
    entered = [tick for tick in moved if int(states[tick]) not in closing]
    last = int(moved[-1]) if len(moved) else 0
    faulted = "fault_latched" in names and rehearsal.output("fault_latched")[-1]
    return last if faulted or not entered else int(entered[-1])


def _closing_states(trial: Trial) -> set[int]:
    """Return the states that only lead to rest: from them no state can be entered twice.

    Ways out of an end, such as a reset, do not count.
    """
    index = trial.index.states
    ends = {state.name for state in trial.states if state.end}
    following: dict[int, set[int]] = {number: set() for number in index.values()}
    for row in trial.rows:
        if row.source not in ends and row.target != row.source:
            following[index[row.source]].add(index[row.target])
    return {start for start in following if not _leads_into_circle(following, start)}


def _leads_into_circle(following: dict[int, set[int]], start: int) -> bool:
    graph = {node: following[node] for node in _reached(following, start)}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError:
        return True
    return False


def _reached(following: dict[int, set[int]], start: int) -> set[int]:
    reached, waiting = {start}, [start]
    while waiting:
        new = following[waiting.pop()] - reached
        reached |= new
        waiting += new
    return reached
