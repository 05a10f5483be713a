"""Mutants of what a row requires: a literal dropped, flipped or added."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from gainwright.language.model import Row, Trial
from gainwright_proof.mutants.mutant import Mutant, MutationKind


def literal_mutants(trial: Trial) -> Iterator[Mutant]:
    """Yield the mutants with one literal of one row dropped, flipped or added, kind by kind."""
    for row in trial.rows:
        for name in (*row.when, *row.unless):
            yield _dropped(row, name)
    for row in trial.rows:
        for name in (*row.when, *row.unless):
            yield _flipped(row, name)
    for row in trial.rows:
        for condition in trial.conditions:
            if condition.name not in (*row.when, *row.unless):
                yield _added(row, condition.name, wanted=True)
                yield _added(row, condition.name, wanted=False)


def without(row: Row, name: str) -> Row:
    """Return the row with a condition not looked at."""
    return replace(
        row,
        when=tuple(other for other in row.when if other != name),
        unless=tuple(other for other in row.unless if other != name),
    )


def _required(row: Row, name: str, wanted: bool) -> Row:
    if wanted:
        return replace(row, when=(*row.when, name))
    return replace(row, unless=(*row.unless, name))


def _dropped(row: Row, name: str) -> Mutant:
    change = (
        f"row '{row.id}' does not look at '{name}', which it wants {_as_word(name in row.when)}"
    )
    return _mutant(MutationKind.LITERAL_DROPPED, row, name, change, without(row, name))


def _flipped(row: Row, name: str) -> Mutant:
    wanted = name not in row.when
    change = f"row '{row.id}' wants '{name}' {_as_word(wanted)} instead of {_as_word(not wanted)}"
    new = _required(without(row, name), name, wanted)
    return _mutant(MutationKind.LITERAL_FLIPPED, row, name, change, new)


def _added(row: Row, name: str, wanted: bool) -> Mutant:
    change = f"row '{row.id}' wants '{name}' {_as_word(wanted)} too"
    detail = f"{name}/{_as_word(wanted)}"
    new = _required(row, name, wanted)
    return _mutant(MutationKind.LITERAL_ADDED, row, detail, change, new)


def _as_word(boolean: bool) -> str:
    return "true" if boolean else "false"


def _mutant(kind: MutationKind, row: Row, detail: str, change: str, new: Row) -> Mutant:
    name = f"{kind.value}/{row.id}/{detail}"
    return Mutant(name, kind, (row.id,), (row.source,), change, {row.id: new})
