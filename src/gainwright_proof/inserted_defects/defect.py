"""One inserted defect, and how it is judged."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from gainwright_proof.verdict import HOLDS, Finding

ROOM = 3
"""Subjects that a table names."""


@dataclass(frozen=True, slots=True)
class InsertedDefect:
    """A defect that was seen to go unnoticed, or one of its kind."""

    name: str
    """Unique, in words."""
    kind: str
    """What it is beside: ``shipped step``, ``input values``, ``axis``, ``evidence`` and so on."""
    place: str
    """File or module in which it is inserted."""
    noticed_by: Callable[[], tuple[str, ...]]
    """Insert it, ask, and take it out: what noticed it; empty if nothing did."""


def left_open(findings: Iterable[Finding]) -> tuple[str, ...]:
    """Return the subjects that findings do not leave proved or tested."""
    found = dict.fromkeys(f.subject for f in findings if f.verdict not in HOLDS)
    return tuple(found)
