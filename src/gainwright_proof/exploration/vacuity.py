"""Does what a requirement speaks of ever occur?

A premise is what stands before ``implies``, for each part of a conjunction; a response or bounded
requirement has its trigger. They are looked for at nodes of the search that has been made
(:mod:`premise_sample`). What is not seen there is asked of a search of its own: its negation is a
requirement of a trial that is otherwise the same, and what refutes it is where it occurs. That
search ends as soon as all of them have been seen.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from gainwright.language.expression import Binary, Expression, Operator, Unary
from gainwright.language.model import Requirement, RequirementKind, Trial
from gainwright.language.write import write
from gainwright_codegen.host.compilation import CompilerLimit
from gainwright_proof.exploration.encoding import encoding_of
from gainwright_proof.exploration.engine import Engine, Note, OutOfMemory, Place, Result
from gainwright_proof.exploration.limits import Limits, limit_reached
from gainwright_proof.exploration.premise_sample import PremiseSample
from gainwright_proof.exploration.subjects import PREMISE
from gainwright_proof.exploration.vectors import TooManyVectors, vectors_by_state
from gainwright_proof.methods import EXPLORATION
from gainwright_proof.verdict import Finding, Verdict

_SLICE = 1 << 14
OVER_A_TICK = frozenset({RequirementKind.STEP, RequirementKind.RESPONSE})


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
        return self.requirement.kind in OVER_A_TICK

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
        engine: Engine | None = None,
    ) -> None:
        """``exported`` is the C to explore, if it is not what the exporter writes now; ``engine``
        holds a search that has been made of it."""
        self._trial = trial
        self._premises = [
            _Premise(requirement, number, expression)
            for requirement in trial.requirements
            for number, expression in enumerate(premises(requirement), 1)
        ]
        self._limits = limits or Limits()
        self._exported = exported
        self._engine = engine

    def findings(self) -> list[Finding]:
        """Return one finding about ``premise/<requirement>`` for each requirement that has one."""
        if not self._premises:
            return []
        try:
            seen = self._seen_in_sample()
            seen, result = self._searched(seen)
        except (TooManyVectors, OutOfMemory, CompilerLimit) as error:
            return premises_unfinished(self._trial, limit_reached(error))
        ticks = {p.denied().id: seen.get(k) for k, p in enumerate(self._premises)}
        return [
            self._finding(requirement, ticks, result)
            for requirement in self._trial.requirements
            if premises(requirement)
        ]

    def _seen_in_sample(self) -> dict[int, int]:
        """Return when premises hold in a sample of the search that has been made."""
        if self._engine is None:
            return {}
        wanted = {k: (p.expression, p.over_a_tick) for k, p in enumerate(self._premises)}
        sample = PremiseSample(self._trial, self._engine, self._engine.vectors_by_state)
        seen = sample.first_ticks(wanted)
        missing = [k for k in wanted if k not in seen]
        if not missing:
            return seen
        # The vectors of the search tell apart what matters to the requirements as a whole.
        vectors = vectors_by_state(self._denying(missing), self._limits.vectors)
        sample = PremiseSample(self._trial, self._engine, vectors)
        return seen | sample.first_ticks({k: wanted[k] for k in missing})

    def _searched(self, seen: dict[int, int]) -> tuple[dict[int, int], Result]:
        """Return when premises hold first, after a search for those that were not seen."""
        missing = [k for k in range(len(self._premises)) if k not in seen]
        if not missing:
            return seen, Result.COMPLETE
        denying = self._denying(missing)
        vectors = vectors_by_state(denying, self._limits.vectors)
        engine = Engine(
            denying, vectors, encoding_of(denying), self._limits.nodes, self._exported, folds=True
        )
        begun = time.thread_time()
        while (result := engine.run(_SLICE)) is Result.MORE:
            if time.thread_time() - begun > self._limits.seconds:
                break
            if None not in [self._place(engine, n, k) for n, k in enumerate(missing)]:
                result = Result.COMPLETE
                break
        places = [self._place(engine, n, k) for n, k in enumerate(missing)]
        found = {
            k: engine.ticks_to(place.node) + int(self._premises[k].over_a_tick)
            for k, place in zip(missing, places, strict=True)
            if place is not None
        }
        return seen | found, result

    def _denying(self, chosen: Iterable[int]) -> Trial:
        """Return the trial that says of some premises that they never occur, and nothing else."""
        return replace(self._trial, requirements=tuple(self._premises[k].denied() for k in chosen))

    def _place(self, engine: Engine, number: int, premise: int) -> Place | None:
        note = Note.TICK if self._premises[premise].over_a_tick else Note.MOMENT
        return engine.first(note, number)

    def _finding(
        self, requirement: Requirement, ticks: Mapping[str, int | None], result: Result
    ) -> Finding:
        own = [p for p in self._premises if p.requirement is requirement]
        missing = [write(p.expression) for p in own if ticks[p.denied().id] is None]
        subject = f"{PREMISE}/{requirement.id}"
        if not missing:
            latest = max(ticks[p.denied().id] or 0 for p in own)
            text = _seen(requirement, len(own), latest)
            return Finding(
                subject, EXPLORATION, Verdict.PROVED, text, figures={"first_tick": latest}
            )
        if result is not Result.COMPLETE:
            return _unfinished(subject, f"Not seen before the search ran out: {missing[0]}.")
        what = "trigger" if requirement.trigger is not None else "premise"
        text = f"Vacuous: this {what} holds in no reachable tick: {'; '.join(missing)}."
        if requirement.vacuous_because:
            text += f" The trial says why: {requirement.vacuous_because}"
            return Finding(subject, EXPLORATION, Verdict.PROVED, text, figures={"vacuous": 1})
        text += " Correct it, or say in vacuous_because why it may stand."
        return Finding(subject, EXPLORATION, Verdict.UNFINISHED, text, figures={"vacuous": 1})


def premises_unfinished(trial: Trial, reason: str) -> list[Finding]:
    """Return that no premise could be looked for."""
    return [
        _unfinished(f"{PREMISE}/{requirement.id}", f"Not looked for: {reason}.")
        for requirement in trial.requirements
        if premises(requirement)
    ]


def _seen(requirement: Requirement, count: int, latest: int) -> str:
    if requirement.trigger is not None:
        return f"The trigger is seen, after {latest:,} ticks."
    if count == 1:
        return f"The premise is seen, after {latest:,} ticks."
    return f"All {count} premises are seen, the last of them after {latest:,} ticks."


def _unfinished(subject: str, text: str) -> Finding:
    return Finding(subject, EXPLORATION, Verdict.UNFINISHED, text)
