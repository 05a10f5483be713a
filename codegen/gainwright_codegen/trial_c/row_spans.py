"""Which rows of a state are looked at: not those that what was seen first excludes.

Some conditions that every state evaluates (a fault, a stop that is demanded) split the rows of most
states in two: those that want one of them, and those that want none. A tick looks through the one
part or the other; a row that may hold either way is in both.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gainwright.language.model import Row, Trial
from gainwright_codegen.trial_c.condition_bits import ConditionBits


@dataclass(frozen=True, slots=True)
class StateRows:
    """The rows of a state in the order of the table."""

    rows: tuple[Row, ...]
    calm_begin: int
    """From here on rows may hold where none of the conditions that split is seen."""
    urgent_end: int
    """Before here they may hold where one is."""


def splitting(trial: Trial, bits: ConditionBits) -> tuple[str, ...]:
    """Return conditions that leave few rows to look at, by the mean over all rows.

    The best is taken first, then what is best with it, as long as each leaves fewer.
    """
    chosen: tuple[str, ...] = ()
    fewest = _looked_at(trial, chosen)
    while True:
        more = [(*chosen, name) for name in bits.common if name not in chosen]
        best = min(more, key=lambda names: _looked_at(trial, names), default=chosen)
        if _looked_at(trial, best) >= fewest:
            return tuple(name for name in bits.common if name in chosen)
        chosen, fewest = best, _looked_at(trial, best)


def state_rows(rows: Iterable[Row], split: Sequence[str]) -> StateRows:
    """Return the rows of a state in order: urgent, either way, calm."""
    parts: dict[tuple[bool, bool], list[Row]] = {}
    for row in rows:
        parts.setdefault(_may_hold(row, split), []).append(row)
    urgent, either, calm = (parts.get(key, []) for key in _ORDER)
    return StateRows((*urgent, *either, *calm), len(urgent), len(urgent) + len(either))


_ORDER = (True, False), (True, True), (False, True)
"""Urgent and calm, of each part of the rows of a state."""


def _may_hold(row: Row, split: Sequence[str]) -> tuple[bool, bool]:
    """Return whether a row may hold where a condition that splits is seen, and where none is."""
    calm = not {*split} & {*row.when}
    return not calm or not {*split} <= {*row.unless}, calm


def _looked_at(trial: Trial, split: Sequence[str]) -> int:
    """Return how many rows are looked at where each row holds, twice, in all."""
    total = 0
    for state in trial.states:
        found = state_rows(trial.rows_by_state[state.name], split)
        urgent, calm = found.urgent_end, len(found.rows) - found.calm_begin
        total += 2 * urgent * found.calm_begin + 2 * calm * (len(found.rows) - urgent)
        total += (urgent + calm) * (urgent - found.calm_begin)
    return total
