"""Mutants without a time limit: a condition that reads a counter of time never holds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from gainwright.language.expression import Binary, Boolean, Integer, Operator, Reference, references
from gainwright.language.model import Condition, Row, Trial
from gainwright_proof.mutants.literals import without
from gainwright_proof.mutants.mutant import Mutant, MutationKind
from gainwright_proof.mutants.thresholds import affected_rows, states_of


def timeout_mutants(trial: Trial) -> Iterator[Mutant]:
    """Yield the mutants in which a condition on a counter never holds, everywhere or in a state.

    A counter is a variable that some row which stays in its state raises by a fixed step.
    """
    counters = counter_names(trial)
    for condition in trial.conditions:
        rows = affected_rows(trial, condition.name)
        if rows and references(condition.expression) & counters:
            yield _everywhere(trial, condition, rows)
            for state in states_of(trial, rows):
                looking = [
                    row
                    for row in trial.rows_by_state[state]
                    if condition.name in (*row.when, *row.unless)
                ]
                if looking:
                    yield _in_state(condition, state, looking)


def counter_names(trial: Trial) -> frozenset[str]:
    """Return the variables that count ticks in some state."""
    return frozenset(
        name
        for row in trial.rows
        if row.source == row.target
        for name, value in row.actions.items()
        if counting_step(name, value)
    )


def counting_step(name: str, value: object) -> int:
    """Return n if the value assigned to the variable is itself plus n > 0, otherwise 0."""
    match value:
        case Binary(Operator.ADD, Reference(read, False), Integer(step)) if read == name:
            return max(step, 0)
        case Binary(Operator.ADD, Integer(step), Reference(read, False)) if read == name:
            return max(step, 0)
    return 0


def _everywhere(trial: Trial, condition: Condition, rows: tuple[Row, ...]) -> Mutant:
    return Mutant(
        f"{MutationKind.TIMEOUT_REMOVED.value}/{condition.name}",
        MutationKind.TIMEOUT_REMOVED,
        tuple(row.id for row in rows),
        states_of(trial, rows),
        f"condition '{condition.name}' never holds",
        new_conditions={condition.name: replace(condition, expression=Boolean(False))},
    )


def _in_state(condition: Condition, state: str, looking: list[Row]) -> Mutant:
    name = condition.name
    return Mutant(
        f"{MutationKind.TIMEOUT_REMOVED.value}/{name}/{state}",
        MutationKind.TIMEOUT_REMOVED,
        tuple(row.id for row in looking),
        (state,),
        f"condition '{name}' never holds in the state {state}: its rows are gone and the others "
        "do not look at it",
        {row.id: None if name in row.when else without(row, name) for row in looking},
    )
