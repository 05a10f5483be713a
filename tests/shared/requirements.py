"""A trial with some of its requirements: each of them multiplies the inputs to try."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from gainwright.language.model import Trial


def only(trial: Trial, names: Iterable[str]) -> Trial:
    """Return the trial with those requirements alone whose names are among some; others, as of a
    table or a row, are no requirements."""
    wanted = set(names)
    return replace(trial, requirements=tuple(r for r in trial.requirements if r.id in wanted))
