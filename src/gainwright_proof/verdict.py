"""What a prover says: verdict, trace of ticks, obligation, finding.

Verdicts are never blurred: a requirement that no method refuted is not thereby proved, and a method
that stopped early says what ran out.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import Enum

from gainwright.semantics.monitor import Snapshot


class Verdict(Enum):
    PROVED = "proved"
    REFUTED = "refuted"
    """A counterexample exists and comes with it (none can exist if nothing is reachable)."""
    TESTED = "tested"
    """Tried on inputs that are listed or drawn, without a difference: evidence, no proof."""
    UNFINISHED = "unfinished"
    """Undecided: the detail says what ran out (time, memory, depth, ideas)."""
    NOT_RUN = "not run"
    """Not tried: the detail says what is missing."""


_WORST_FIRST = (
    Verdict.REFUTED,
    Verdict.UNFINISHED,
    Verdict.NOT_RUN,
    Verdict.TESTED,
    Verdict.PROVED,
)
HOLDS = frozenset({Verdict.PROVED, Verdict.TESTED})
"""Verdicts that leave nothing open."""


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the verdict over all parts of a question; ``NOT_RUN`` if there are none.

    One refuted part refutes the whole; it is proved only if every part is.
    """
    return min(verdicts, key=_WORST_FIRST.index, default=Verdict.NOT_RUN)


@dataclass(frozen=True, slots=True)
class Tick:
    """One tick of a trace: the inputs it saw, the row it took and where it led."""

    inputs: Mapping[str, int]
    row: str
    """Id of the row taken; empty if not exactly one row held and the trace ends here."""
    saturated: tuple[str, ...]
    """Variables whose assignment stopped at the range, in file order."""
    after: Snapshot
    """The same as before the tick if no row was taken."""


@dataclass(frozen=True, slots=True)
class Trace:
    """A run that shows something; made by the reference semantics, so that it replays."""

    first: Snapshot
    ticks: tuple[Tick, ...]
    from_power_on: bool = True
    """False if the run begins at some moment that need not be reachable."""


@dataclass(frozen=True, slots=True)
class Obligation:
    """One statement put to a solver: a whole SMT-LIB 2.6 script; ``unsat`` means proved."""

    name: str
    """Unique in a proof, of ``a-z0-9_`` and ``/``; the path of its file without the suffix."""
    text: str
    digest: str
    """SHA-256 of the text (UTF-8), hexadecimal."""

    @classmethod
    def of(cls, name: str, text: str) -> Obligation:
        """Return the obligation with the digest of its text."""
        return cls(name, text, hashlib.sha256(text.encode()).hexdigest())


@dataclass(frozen=True, slots=True)
class Finding:
    """What one method found about one subject."""

    subject: str
    """Id of the requirement; ``single_hit/<state>``, ``row/<row id>`` and the like for what is
    asked of every trial."""
    method: str
    """How it was found, in words, e.g. ``induction (z3 4.15.1)``."""
    verdict: Verdict
    detail: str
    """One or a few sentences for the reviewer; says what ran out or is missing."""
    counterexample: Trace | None = None
    """Shows why it is refuted; shortest where the method can say so."""
    witness: Trace | None = None
    """Shows that what was asked for can be reached."""
    obligations: tuple[Obligation, ...] = ()
    """What has to be unsatisfiable for the verdict ``proved``."""
    figures: Mapping[str, int] = field(default_factory=dict)
    """Numbers worth printing, e.g. ``{"longest_ticks": 940_000}``; the name carries the unit."""
