"""What the search for proofs found, subject by subject."""

from __future__ import annotations

from dataclasses import dataclass, field

from gainwright_proof.induction.induction import Facts
from gainwright_proof.induction.question import Moment, Question
from gainwright_proof.induction.rank_search import Ranking
from gainwright_proof.induction.unrolling import Inputs

ROW = "row/"
"""Begins the subject of a row."""


@dataclass(frozen=True, slots=True)
class Supported:
    """Questions and the facts with which each is answered."""

    questions: tuple[tuple[Question, Facts], ...]
    ranking: Ranking | None = None
    ticks: int = 0
    """Bound of the time that the ranking shows."""

    @property
    def rests_on_facts(self) -> bool:
        return any(facts for _, needed in self.questions for facts in needed.values())


@dataclass(frozen=True, slots=True)
class Resisting:
    """A subject that no proof was found for, and why."""

    reason: str
    moment: Moment | None = None
    """Where it would fail, if that moment were reachable."""


@dataclass
class Found:
    """What the search found, by subject."""

    supported: dict[str, Supported] = field(default_factory=dict)
    violated: dict[str, list[Inputs]] = field(default_factory=dict)
    """Inputs of a shortest run from power-on that violates a requirement."""
    resisting: dict[str, Resisting] = field(default_factory=dict)
    impossible: dict[str, Supported] = field(default_factory=dict)
    """Proofs that what a requirement wants reached, or a row (``row/<id>``), is out of reach."""
    limited: list[str] = field(default_factory=list)
    """Assignments that the range of their variable may stop, as far as the facts say."""
    facts: Facts = field(default_factory=dict)
    """Facts on which the supported subjects rest; inductive on their own."""
    fact_questions: tuple[tuple[Question, Facts], ...] = ()
    """That these facts hold for ever."""
    out_of_time: bool = False
    """Whether the search ended before all kinds of facts were tried."""
    unrolled_ticks: dict[str, int] = field(default_factory=dict)
    """Resisting requirements that no run of so many ticks violates."""
