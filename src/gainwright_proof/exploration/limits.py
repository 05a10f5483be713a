"""How far exploration goes before it gives up."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limits:
    """How far to go before giving up."""

    nodes: int = 40_000_000
    """Reachable combinations of state and variables; each takes some 60 bytes."""
    vectors: int = 1 << 19
    """Input vectors that have to be told apart in one state."""
