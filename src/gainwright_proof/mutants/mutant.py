"""A mutant: a trial with one small change, kept as the change alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import Enum

from gainwright.language.digest import trial_digest
from gainwright.language.model import Condition, Row, Trial


class MutationKind(Enum):
    """What is changed; the value begins the id of the mutant."""

    ROW_REMOVED = "row_removed"
    RETARGETED = "retargeted"
    """The row leads to another state."""
    LITERAL_DROPPED = "literal_dropped"
    """The row no longer looks at one of its conditions."""
    LITERAL_FLIPPED = "literal_flipped"
    """The row wants the opposite of one of its conditions."""
    LITERAL_ADDED = "literal_added"
    """The row wants one more condition true, or false."""
    ACTION_DROPPED = "action_dropped"
    """The row leaves one of its variables as it is."""
    ACTION_DOUBLED = "action_doubled"
    """One assignment of the row is done twice in the tick: it reads what it wrote itself."""
    ACTION_OFF = "action_off"
    """One assignment of the row gives one more or one less; a boolean value the opposite."""
    THRESHOLD_OFF = "threshold_off"
    """A number in a condition is one more or one less, for all rows that look at it. Requirements
    that name the condition see it changed; those that name the constant do not."""
    ROWS_SWAPPED = "rows_swapped"
    """Two rows of a state exchange next state and actions."""
    TIMEOUT_REMOVED = "timeout_removed"
    """A condition that reads a counter of time never holds: everywhere, or in one state only
    (there its rows are gone, and the others do not look at it)."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change to a trial; plain data, so that it can be sent to other processes."""

    id: str
    """Unique among the mutants of a trial; kind, row and detail, with ``/`` between them."""
    kind: MutationKind
    rows: tuple[str, ...]
    """Ids of the rows whose meaning changes."""
    states: tuple[str, ...]
    """States whose tables change, in the order of the trial."""
    change: str
    """What was changed, for a reader who knows the trial."""
    new_rows: Mapping[str, Row | None] = field(default_factory=dict)
    """Row id to what stands in its place; None if nothing does."""
    new_conditions: Mapping[str, Condition] = field(default_factory=dict)

    def trial(self, original: Trial) -> Trial:
        """Return the changed trial; its digest is empty, see :meth:`digested`."""
        rows = original.rows
        conditions = original.conditions
        if self.new_rows:
            changed = (self.new_rows.get(row.id, row) for row in rows)
            rows = tuple(row for row in changed if row is not None)
        if self.new_conditions:
            conditions = tuple(self.new_conditions.get(c.name, c) for c in conditions)
        return replace(original, rows=rows, conditions=conditions, digest="")

    def digested(self, original: Trial) -> Trial:
        """Return the changed trial with its own digest."""
        changed = self.trial(original)
        return replace(changed, digest=trial_digest(changed))
