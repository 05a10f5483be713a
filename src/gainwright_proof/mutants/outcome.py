"""What became of a mutant."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from gainwright_proof.mutants.mutant import Mutant


class Stage(Enum):
    """What decided about a mutant, cheapest first; the value says it in words."""

    GRAPH = "states and rows that no path of rows reaches"
    TABLE = "table no longer single-hit"
    ONE_TICK = "one tick from a reachable moment"
    SOLVER = "solver: same tick or no single-hit table, for all values"
    EXPLORED = "runs of the mutant"
    PROVER = "the prover"
    NONE = "nothing"


class Fate(Enum):
    CAUGHT = "caught"
    """At least one check fails."""
    EQUIVALENT = "equivalent"
    """Does the same as the original in every reachable moment; proved."""
    SURVIVED = "survived"
    """Every requirement is proved of it: the requirements are too weak to tell."""
    LISTED = "listed"
    """Left over, and the trial file calls it equivalent; no difference is known or excluded."""
    UNDECIDED = "undecided"
    """Left over; the detail says why."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """Plain data; what it says of a mutant follows from trial and seed alone."""

    mutant: Mutant
    fate: Fate
    stage: Stage
    caught_by: tuple[str, ...] = ()
    """Requirements, or checks asked of every trial (``single_hit/<state>``, ``row/<row>``,
    ``end_stays_reachable``), that the mutant fails: those found by the stage, in the order of the
    trial."""
    detail: str = ""
    """Why it is equivalent or undecided, in words."""
    rests_on: tuple[str, ...] = ()
    """Requirements that the equivalence rests on; they must be proved of the original."""
    differs: bool = False
    """True if a reachable moment is known in which it does something else than the original."""
