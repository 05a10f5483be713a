"""Does what a requirement speaks of ever occur?

A premise is what stands before ``implies``, for each part of a conjunction; a response or bounded
requirement has its trigger. The search is asked for the negation of every premise, as requirements
of a trial that is otherwise the same: what it refutes occurs, and where it does is nearest to
reset. It ends as soon as all of them have been seen.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from gainwright.language.expression import Binary, Expression, Operator, Unary
from gainwright.language.model import Requirement, RequirementKind, Trial
from gainwright.language.write import write
from gainwright_proof.exploration.encoding import encoding_of
from gainwright_proof.exploration.engine import Engine, Note, OutOfMemory, Result
from gainwright_proof.exploration.exploration import Limits
from gainwright_proof.exploration.report import METHOD
from gainwright_proof.exploration.subjects import PREMISE
from gainwright_proof.exploration.vectors import TooManyVectors, vectors_by_state
from gainwright_proof.verdict import Finding, Verdict

_SLICE = 1 << 14
_OVER_A_TICK = frozenset({RequirementKind.STEP, RequirementKind.RESPONSE})


def premises(requirement: Requirement) -> tuple[Expression, ...]:
    """Return what must occur for a requirement to say anything; empty if it speaks of every moment.

    A reachability requirement is its own evidence, and the initial moment always occurs.
    """
    if requirement.trigger is not None:
        return (requirement.trigger,)
    if requirement.kind in (RequirementKind.INVARIANT, RequirementKind.STEP):
        return tuple(dict.fromkeys(_before_implies(requirement.formula)))
    return ()


def _before_implies(formula: Expression) -> Iterator[Expression]:
    if not isinstance(formula, Binary):
        return
    if formula.operator is Operator.AND:
        yield from _before_implies(formula.left)
        yield from _before_implies(formula.right)
    elif formula.operator is Operator.IMPLIES:
        inner = list(_before_implies(formula.right))
        if inner:
            yield from (Binary(Operator.AND, formula.left, part) for part in inner)
        else:
            yield formula.left


@dataclass(frozen=True, slots=True)
class _Premise:
    requirement: Requirement
    number: int
    expression: Expression

    @property
    def over_a_tick(self) -> bool:
        return self.requirement.kind in _OVER_A_TICK

    def denied(self) -> Requirement:
        """Return the requirement that it never occurs."""
        return Requirement(
            id=f"{self.requirement.id}_premise_{self.number}", hazard="", sentence="",
            kind=RequirementKind.STEP if self.over_a_tick else RequirementKind.INVARIANT,
            formula=Unary(Operator.NOT, self.expression), trigger=None, within_ticks=0,
            proved_by="",
        )  # fmt: skip


class Vacuity:
    """Looks for the premises of all requirements of a trial."""

    def __init__(
        self,
        trial: Trial,
        limits: Limits | None = None,
        exported: Mapping[str, bytes] | None = None,
    ) -> None:
        """``exported`` is the C to explore, if it is not what the exporter writes now."""
        self._trial = trial
        self._premises = [
            _Premise(requirement, number, expression)
            for requirement in trial.requirements
            for number, expression in enumerate(premises(requirement), 1)
        ]
        self._denying = replace(trial, requirements=tuple(p.denied() for p in self._premises))
        self._limits = limits or Limits()
        self._exported = exported

    def findings(self) -> list[Finding]:
        """Return one finding about ``premise/<requirement>`` for each requirement that has one."""
        if not self._premises:
            return []
        limits = self._limits
        try:
            vectors = vectors_by_state(self._denying, limits.vectors)
            engine = Engine(
                self._denying, vectors, encoding_of(self._denying), limits.nodes, self._exported
            )
        except (TooManyVectors, OutOfMemory) as error:
            return self._all_unfinished(str(error) or "there is too little memory")
        result = self._searched(engine)
        ticks = {p.denied().id: self._first_tick(engine, k) for k, p in enumerate(self._premises)}
        return [
            self._finding(requirement, ticks, result)
            for requirement in self._trial.requirements
            if premises(requirement)
        ]

    def _searched(self, engine: Engine) -> Result:
        while (result := engine.run(_SLICE)) is Result.MORE:
            if all(self._place(engine, k) is not None for k in range(len(self._premises))):
                return Result.COMPLETE
        return result

    def _place(self, engine: Engine, number: int):  # type: ignore[no-untyped-def]
        note = Note.TICK if self._premises[number].over_a_tick else Note.MOMENT
        return engine.first(note, number)

    def _first_tick(self, engine: Engine, number: int) -> int | None:
        """Return how many ticks after reset a premise holds first; None if it was not seen."""
        place = self._place(engine, number)
        if place is None:
            return None
        return engine.ticks_to(place.node) + int(self._premises[number].over_a_tick)

    def _finding(
        self, requirement: Requirement, ticks: Mapping[str, int | None], result: Result
    ) -> Finding:
        own = [p for p in self._premises if p.requirement is requirement]
        missing = [write(p.expression) for p in own if ticks[p.denied().id] is None]
        subject = f"{PREMISE}/{requirement.id}"
        if not missing:
            latest = max(ticks[p.denied().id] or 0 for p in own)
            text = _seen(requirement, len(own), latest)
            return Finding(subject, METHOD, Verdict.PROVED, text, figures={"first_tick": latest})
        if result is not Result.COMPLETE:
            return _unfinished(subject, f"Not seen before the search ran out: {missing[0]}.")
        what = "trigger" if requirement.trigger is not None else "premise"
        text = f"Vacuous: this {what} holds in no reachable tick: {'; '.join(missing)}."
        if requirement.vacuous_because:
            text += f" The trial says why: {requirement.vacuous_because}"
            return Finding(subject, METHOD, Verdict.PROVED, text, figures={"vacuous": 1})
        text += " Correct it, or say in vacuous_because why it may stand."
        return Finding(subject, METHOD, Verdict.UNFINISHED, text, figures={"vacuous": 1})

    def _all_unfinished(self, reason: str) -> list[Finding]:
        return [
            _unfinished(f"{PREMISE}/{requirement.id}", f"Not looked for: {reason}.")
            for requirement in self._trial.requirements
            if premises(requirement)
        ]


def _seen(requirement: Requirement, count: int, latest: int) -> str:
    if requirement.trigger is not None:
        return f"The trigger is seen, first after {latest:,} ticks."
    if count == 1:
        return f"The premise is seen, first after {latest:,} ticks."
    return f"All {count} premises are seen, the last of them first after {latest:,} ticks."


def _unfinished(subject: str, text: str) -> Finding:
    return Finding(subject, METHOD, Verdict.UNFINISHED, text)
