"""The decision table of a state as plain data: conditions, rules, entries."""

from __future__ import annotations

from dataclasses import dataclass

from gainwright.language.model import Row, Trial
from gainwright.language.write import write

YES, NO, EITHER = "Y", "N", "-"
"""Condition entries of ISO 5806: true, false, not looked at."""


@dataclass(frozen=True, slots=True)
class DecisionTable:
    """One state: each rule is a column of entries over the conditions that the state looks at."""

    state: str
    conditions: tuple[str, ...]
    rules: tuple[Row, ...]
    entries: tuple[tuple[str, ...], ...]
    """One tuple per condition, one entry per rule."""


def decision_table(trial: Trial, state: str) -> DecisionTable:
    """Return the table of a state; conditions in the order of the file; KeyError if unknown."""
    rules = trial.rows_by_state[state]
    looked_at = {name for row in rules for name in (*row.when, *row.unless)}
    conditions = tuple(c.name for c in trial.conditions if c.name in looked_at)
    entries = tuple(tuple(_entry(rule, name) for rule in rules) for name in conditions)
    return DecisionTable(state, conditions, rules, entries)


def actions_text(row: Row) -> str:
    """Return the actions of a row as text, in the order of the file."""
    return ", ".join(f"{name} := {write(value)}" for name, value in row.actions.items())


def _entry(rule: Row, condition: str) -> str:
    if condition in rule.when:
        return YES
    return NO if condition in rule.unless else EITHER
