"""The decision tables of a trial as comma-separated values (RFC 4180), one line per row."""

from __future__ import annotations

import csv
import io

from gainwright.language.decision_table import actions_text, decision_table
from gainwright.language.model import Trial


def decision_tables_csv(trial: Trial) -> str:
    """Return one line per row: state, row, an entry (Y, N or -) per condition, and what follows."""
    text = io.StringIO()
    writer = csv.writer(text)
    conditions = [condition.name for condition in trial.conditions]
    writer.writerow(["state", "row", *conditions, "next_state", "actions", "why"])
    for state in trial.states:
        table = decision_table(trial, state.name)
        entries = dict(zip(table.conditions, table.entries, strict=True))
        for number, row in enumerate(table.rules):
            looked_at = [entries[c][number] if c in entries else "-" for c in conditions]
            after = [row.target, actions_text(row), row.why]
            writer.writerow([state.name, row.id, *looked_at, *after])
    return text.getvalue()
