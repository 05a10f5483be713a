"""How far exploration goes before it gives up."""

from __future__ import annotations

from dataclasses import dataclass

from gainwright_codegen.host.compilation import CompilerLimit


@dataclass(frozen=True, slots=True)
class Limits:
    """How far to go before giving up."""

    nodes: int = 40_000_000
    """Reachable combinations of state and variables; each takes some 60 bytes."""
    vectors: int = 1 << 19
    """Input vectors that have to be told apart in one state."""
    megabytes: float = 12_000.0
    """Memory of one search."""
    seconds: float = 3_600.0
    """Processor time of one search."""


def limit_reached(error: Exception) -> str:
    """Return what ran out, in a few words, if that is why something could not begin."""
    if isinstance(error, CompilerLimit):
        (problem,) = error.problems
        return f"the compiler of the explorer was ended: {problem.found}"
    return str(error) or "there is too little memory"
