"""All mutants of a trial, in a fixed order."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

from gainwright.language.model import Row, Trial
from gainwright_proof.mutants.actions import action_mutants
from gainwright_proof.mutants.literals import literal_mutants
from gainwright_proof.mutants.mutant import Mutant, MutationKind
from gainwright_proof.mutants.thresholds import threshold_mutants
from gainwright_proof.mutants.timeouts import timeout_mutants


def mutants(trial: Trial) -> tuple[Mutant, ...]:
    """Return every single mutant of a trial; ids are unique and depend on the trial alone.

    A change without any effect on the text's meaning is left out: swapping two rows with equal
    targets and actions, doubling an assignment that does not read its variable, moving a value
    further beyond the end of its range.
    """
    found = (
        *_removed(trial),
        *_retargeted(trial),
        *literal_mutants(trial),
        *action_mutants(trial),
        *threshold_mutants(trial),
        *_swapped(trial),
        *timeout_mutants(trial),
    )
    repeated = [name for name, count in Counter(m.id for m in found).items() if count > 1]
    assert not repeated, f"ids used twice: {', '.join(repeated)}"
    return found


def _removed(trial: Trial) -> Iterator[Mutant]:
    for row in trial.rows:
        yield Mutant(
            f"{MutationKind.ROW_REMOVED.value}/{row.id}",
            MutationKind.ROW_REMOVED,
            (row.id,),
            (row.source,),
            f"row '{row.id}' removed",
            {row.id: None},
        )


def _retargeted(trial: Trial) -> Iterator[Mutant]:
    for row in trial.rows:
        for state in trial.states:
            if state.name != row.target:
                yield Mutant(
                    f"{MutationKind.RETARGETED.value}/{row.id}/{state.name}",
                    MutationKind.RETARGETED,
                    (row.id,),
                    (row.source,),
                    f"row '{row.id}' leads to {state.name} instead of {row.target}",
                    {row.id: replace(row, target=state.name)},
                )


def _swapped(trial: Trial) -> Iterator[Mutant]:
    for rows in trial.rows_by_state.values():
        for first, second in itertools.combinations(rows, 2):
            if (first.target, first.actions) != (second.target, second.actions):
                yield Mutant(
                    f"{MutationKind.ROWS_SWAPPED.value}/{first.id}/{second.id}",
                    MutationKind.ROWS_SWAPPED,
                    (first.id, second.id),
                    (first.source,),
                    f"rows '{first.id}' and '{second.id}' exchange next state and actions",
                    {first.id: _with_effect(first, second), second.id: _with_effect(second, first)},
                )


def _with_effect(row: Row, other: Row) -> Row:
    return replace(row, target=other.target, actions=other.actions)
