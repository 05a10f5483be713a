"""What a directed search looks for: rows, premises, and what is required to be reachable."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from gainwright.language.expression import Expression
from gainwright.language.model import RequirementKind, Trial
from gainwright.language.write import write
from gainwright.semantics.array_code import ArrayCode, filled_boolean
from gainwright_proof.directed.compare import Reference
from gainwright_proof.directed.search import Batch
from gainwright_proof.exploration.specialise import Specialiser
from gainwright_proof.exploration.subjects import PREMISE
from gainwright_proof.exploration.vacuity import OVER_A_TICK, premises


@dataclass(frozen=True, slots=True)
class Wish:
    """A formula that some moment or tick is to make true."""

    subject: str
    formula: Expression
    over_tick: bool

    @property
    def title(self) -> str:
        return write(self.formula)


@dataclass(frozen=True, slots=True)
class Place:
    """Where something was seen first: a moment of the search, and the inputs of the tick."""

    node: int
    inputs: tuple[int, ...]
    """Empty for what holds at the moment itself."""


def wishes(trial: Trial) -> Iterator[Wish]:
    """Yield the premises of all requirements, and what is to be reachable."""
    for requirement in trial.requirements:
        for premise in premises(requirement):
            over_tick = requirement.kind in OVER_A_TICK
            yield Wish(f"{PREMISE}/{requirement.id}", premise, over_tick)
        if requirement.kind is RequirementKind.REACHABLE:
            yield Wish(requirement.id, requirement.formula, False)


class Goals:
    """Rows and wishes of one trial, and where they were seen."""

    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self._code = ArrayCode(trial)
        self._specialiser = Specialiser(trial)
        self.wishes = tuple(wishes(trial))
        self.seen: dict[Wish, Place] = {}
        self.rows: dict[int, Place] = {}
        """By number of the row."""

    @property
    def complete(self) -> bool:
        return len(self.seen) == len(self.wishes) and len(self.rows) == len(self._trial.rows)

    def look(self, batch: Batch, reference: Reference) -> None:
        """Note what single ticks show."""
        numbers, lanes = np.unique(batch.taken.rows, return_index=True)
        for number, lane in zip(numbers.tolist(), lanes.tolist(), strict=True):
            if number >= 0:
                self.rows.setdefault(number, _place(batch, lane))
        left = [wish for wish in self.wishes if wish not in self.seen]
        moments = reference.over_a_tick(batch) if left else ()
        for wish in left:
            (found,) = self._code.function([wish.formula])(*moments)
            holds = filled_boolean(found, len(batch.nodes)) & (batch.taken.rows >= 0)
            if holds.any():
                place = _place(batch, int(np.argmax(holds)))
                self.seen[wish] = place if wish.over_tick else Place(place.node, ())

    def missing(self) -> Iterator[list[Expression]]:
        """Yield, for each goal that was not seen, the expressions that it asks about, over inputs
        and variables."""
        for number, row in enumerate(self._trial.rows):
            if number not in self.rows:
                yield [self._specialiser.condition(n) for n in (*row.when, *row.unless)]
        for wish in self.wishes:
            if wish not in self.seen:
                yield [self._specialiser.expanded(wish.formula)]


def _place(batch: Batch, lane: int) -> Place:
    return Place(int(batch.nodes[lane]), tuple(batch.inputs[lane].tolist()))
