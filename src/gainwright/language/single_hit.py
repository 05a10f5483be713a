"""Checks that the decision table of each state is single-hit: no gap, no overlap, no dead row.

ISO 5806 calls a decision table single-hit if exactly one rule applies to every combination of the
conditions. Combinations are those of :mod:`gainwright.language.attainable`: every gap, overlap or
dead row reported here is real; the proof over all integers also finds what this leaves open.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from gainwright.language.attainable import Attainable, Combination
from gainwright.language.model import Row

Groups = Sequence[Sequence[Combination]]


@dataclass(frozen=True, slots=True)
class Gap:
    """No row holds for ``example``."""

    example: Combination


@dataclass(frozen=True, slots=True)
class Overlap:
    """Two rows hold for ``example``."""

    first: Row
    second: Row
    example: Combination


@dataclass(frozen=True, slots=True)
class DeadRow:
    """No combination of conditions satisfies the row."""

    row: Row


def table_faults(rows: Sequence[Row], attainable: Attainable) -> list[Gap | Overlap | DeadRow]:
    """Return the faults of one state's table, with smallest examples; the first gap only."""
    names = dict.fromkeys(name for row in rows for name in (*row.when, *row.unless))
    groups = attainable.combinations(names)
    if groups is None:
        return []
    faults: list[Gap | Overlap | DeadRow] = []
    live = []
    for row in rows:
        if set(row.when) & set(row.unless):
            continue  # reported where the row is read
        if _example(groups, [row]) is None:
            faults.append(DeadRow(row))
        else:
            live.append(row)
    for first, second in itertools.combinations(live, 2):
        if (example := _example(groups, [first, second])) is not None:
            faults.append(Overlap(first, second, example))
    if (gap := _gap(groups, live)) is not None:
        faults.append(Gap(gap))
    return faults


def _holds(row: Row, combination: Combination) -> bool:
    """Return whether a row's literals about this group of conditions hold."""
    booleans = combination.booleans
    return all(booleans.get(name, True) for name in row.when) and not any(
        booleans.get(name, False) for name in row.unless
    )


def _example(groups: Groups, rows: Sequence[Row]) -> Combination | None:
    """Return the combination with the fewest true conditions that satisfies all the rows."""
    chosen = []
    for group in groups:
        fitting = next((c for c in group if all(_holds(row, c) for row in rows)), None)
        if fitting is None:
            return None
        chosen.append(fitting)
    return _joined(chosen)


def _gap(groups: Groups, rows: Sequence[Row]) -> Combination | None:
    """Return the combination with the fewest true conditions for which no row holds."""
    found = _smallest_gap(groups, rows)
    return None if found is None else _joined(found)


def _smallest_gap(groups: Groups, rows: Sequence[Row]) -> list[Combination] | None:
    if not rows:
        return [group[0] for group in groups]
    if not groups:
        return None
    best: list[Combination] | None = None
    for combination in groups[0]:
        rest = _smallest_gap(groups[1:], [row for row in rows if _holds(row, combination)])
        if rest is not None and (
            best is None or _true_count([combination, *rest]) < _true_count(best)
        ):
            best = [combination, *rest]
    return best


def _true_count(combinations: Sequence[Combination]) -> int:
    return sum(sum(combination.booleans.values()) for combination in combinations)


def _joined(combinations: Sequence[Combination]) -> Combination:
    booleans: dict[str, bool] = {}
    witness: dict[str, int] = {}
    for combination in combinations:
        booleans |= combination.booleans
        witness |= combination.witness
    return Combination(booleans, witness)
