"""A start that the trial refused: it was asked once, and still waits where it began."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gainwright.language.expression import references
from gainwright.language.model import Kind, Trial
from gainwright_sim.rig.log import RigLog

START_INPUT = "start_request"
"""Input by which the operator asks for a trial."""


@dataclass(frozen=True, slots=True)
class RefusedStart:
    """The tick at which the start was asked for, and what spoke against it."""

    tick: int
    missing: tuple[str, ...]
    """Boolean inputs that a start looks at and that were false."""

    def in_words(self) -> str:
        was = "were" if len(self.missing) > 1 else "was"
        names = ", ".join(self.missing)
        return f"the start was refused: {names} {was} false" if names else "the start was refused"


def refused_start(trial: Trial, log: RigLog) -> RefusedStart | None:
    """Return how the start was refused; None if the trial left its first state, or may still.

    Only an end is a state in which a trial may rest for ever without having begun.
    """
    first = trial.index.states[trial.initial_state]
    if START_INPUT not in trial.index.inputs or not trial.states[first].end:
        return None
    asked = np.flatnonzero(log.inputs[:, trial.index.inputs[START_INPUT]])
    released = len(asked) > 0 and int(asked[-1]) + 1 < len(log)
    if not released or bool((log.state != first).any()):
        return None
    return RefusedStart(int(asked[0]), _missing(trial, log, int(asked[0])))


def _missing(trial: Trial, log: RigLog, tick: int) -> tuple[str, ...]:
    conditions = {condition.name: condition for condition in trial.conditions}
    read = {
        name
        for row in trial.rows
        if row.source == trial.initial_state and row.target != row.source
        for condition in row.when
        for name in references(conditions[condition].expression)
    }
    return tuple(
        signal.name
        for signal in trial.inputs
        if signal.name in read
        and signal.kind is Kind.BOOLEAN
        and not log.inputs[tick, trial.index.inputs[signal.name]]
    )
