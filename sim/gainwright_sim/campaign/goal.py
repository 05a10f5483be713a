"""A number wanted of a campaign."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Goal:
    """One number wanted, what was reached, and whether that is enough."""

    what: str
    wanted: str
    reached: str
    met: bool
