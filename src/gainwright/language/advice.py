"""What is allowed in a trial but is probably not meant; `check` says it, nothing refuses it."""

from __future__ import annotations

from collections.abc import Iterator

from gainwright.language.expression import Boolean, references
from gainwright.language.model import State, Trial

TORQUE_OUTPUT, MOTION_OUTPUT = "torque_request", "motion_enable"
FAULT_INPUTS = ("drive_ready", "feedback_valid")
STOP_INPUTS = ("run_permit", "inside_travel_window")


def trial_advice(trial: Trial) -> tuple[str, ...]:
    """Return a sentence for each state with torque that looks at no fault, with motion at no stop.

    By common practice (no source) every state with torque has rows for a failed drive or feedback
    and for a withdrawn permit. Which inputs mean that is known by the names that the shipped rig
    uses; a trial with none of them gets no advice.
    """
    return tuple(_advice(trial))


def _advice(trial: Trial) -> Iterator[str]:
    known = {signal.name for signal in trial.inputs}
    for state in trial.states:
        if not _may_ask_for(TORQUE_OUTPUT, trial, state):
            continue
        read = _inputs_read(trial, state)
        wanted = [("a fault", FAULT_INPUTS)]
        # A state that stops the axis has nothing more to stop.
        if _may_ask_for(MOTION_OUTPUT, trial, state):
            wanted.append(("a stop", STOP_INPUTS))
        for what, names in wanted:
            unread = [name for name in names if name in known and name not in read]
            if unread:
                yield (
                    f"state {state.name} asks for torque, but none of its rows looks at "
                    f"{' or '.join(unread)}: it has no row for {what}"
                )


def _may_ask_for(name: str, trial: Trial, state: State) -> bool:
    outputs = [output for output in trial.outputs if output.name == name]
    return any(state.value_of(output) != Boolean(False) for output in outputs)


def _inputs_read(trial: Trial, state: State) -> set[str]:
    """Return every input on which the choice of a row depends, through conditions of conditions."""
    conditions = {condition.name: condition.expression for condition in trial.conditions}
    rows = trial.rows_by_state[state.name]
    pending = [name for row in rows for name in (*row.when, *row.unless)]
    seen: set[str] = set()
    while pending:
        name = pending.pop()
        if name not in seen:
            seen.add(name)
            pending += references(conditions[name]) if name in conditions else ()
    return seen
