"""Turns what was searched and what the solvers answered into findings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from gainwright.language.model import Requirement, RequirementKind, Trial
from gainwright.language.sentence import words
from gainwright.semantics.monitor import Snapshot
from gainwright_proof import methods
from gainwright_proof.exploration.subjects import (
    ASSIGNMENTS,
    END_REACHABLE,
    NO_OVERFLOW,
    RANGES,
    WHOLE_TRIAL,
)
from gainwright_proof.induction.examples import (
    described,
    holding_rows,
    true_conditions,
    violated_in,
)
from gainwright_proof.induction.found import ROW, Found
from gainwright_proof.induction.plan import FACTS, SINGLE_HIT, Plan
from gainwright_proof.induction.question import Moment
from gainwright_proof.induction.rank_search import Ranking
from gainwright_proof.induction.solvers import Answer, Reply
from gainwright_proof.replay import replay
from gainwright_proof.verdict import Finding, Obligation, Verdict

Replies = Mapping[str, Reply]
"""Reply by name of obligation."""

_METHODS = {
    RequirementKind.INITIAL: methods.FIRST_MOMENT,
    RequirementKind.INVARIANT: methods.INDUCTION,
    RequirementKind.STEP: methods.ONE_TICK,
    RequirementKind.RESPONSE: methods.ONE_TICK,
    RequirementKind.BOUNDED: methods.RANKING,
    RequirementKind.REACHABLE: methods.INDUCTION,
}


class Findings:
    """Makes the findings of one trial; ``solver`` is the title of the solver that decided."""

    def __init__(self, trial: Trial, found: Found, plan: Plan, replies: Replies, solver: str):
        self._trial = trial
        self._found = found
        self._plan = plan
        self._replies = replies
        self._solver = solver

    def all(self, examples: Mapping[str, Moment]) -> Iterator[Finding]:
        """Yield all findings; ``examples`` shows by subject where a single-hit table fails."""
        for subject, obligations in self._plan.of_every_trial.items():
            if subject in examples:
                yield self._failing_table(subject, examples[subject], obligations)
            else:
                yield self._decided(
                    subject, methods.TABLES, obligations, _OF_EVERY_TRIAL.get(subject, _TABLE)
                )
        if self._plan.facts:
            count = sum(map(len, self._found.facts.values()))
            detail = (
                f"{count} facts about {len(self._found.facts)} states hold after power-on and "
                "after every tick; other proofs rest on them."
            )
            yield self._decided(
                FACTS, methods.INDUCTION, self._plan.facts, detail, {"facts": count}
            )
        if ASSIGNMENTS in self._found.supported:
            yield self._assignments()
        for requirement in self._trial.requirements:
            yield self._requirement(requirement)
        if WHOLE_TRIAL in self._found.supported:
            ended = self._supported(WHOLE_TRIAL, _METHODS[RequirementKind.BOUNDED])
            yield ended
            yield replace(ended, subject=END_REACHABLE, detail=f"An end comes. {ended.detail}")
        for subject in self._found.impossible:
            if subject.startswith(ROW):
                yield self._impossible(subject, f"The row {subject[len(ROW) :]} is never taken.")

    def _assignments(self) -> Finding:
        limited = self._found.limited
        count = len(self._found.supported[ASSIGNMENTS].questions)
        detail = f"{count} computed assignments are never cut by the range of their variable."
        if limited:
            detail += f" Others may be, and then stop at its end: {', '.join(limited)}."
        figures = {"never_cut": count, "may_be_cut": len(limited)}
        return self._decided(
            ASSIGNMENTS, methods.INDUCTION, self._with_facts(ASSIGNMENTS), detail, figures
        )

    def _method(self, title: str) -> str:
        return f"{title} ({self._solver})"

    def _decided(
        self,
        subject: str,
        title: str,
        obligations: Sequence[Obligation],
        detail: str,
        figures: Mapping[str, int] | None = None,
    ) -> Finding:
        lacking = [
            f"{o.name}: {self._replies[o.name].reason or 'a counterexample exists'}"
            for o in obligations
            if self._replies[o.name].answer is not Answer.UNSAT
        ]
        verdict = Verdict.UNFINISHED if lacking else Verdict.PROVED
        if lacking:
            detail = f"{len(lacking)} obligations are not decided. {'; '.join(lacking[:3])}"
        return Finding(
            subject,
            self._method(title),
            verdict,
            detail,
            obligations=tuple(obligations),
            figures=figures or {},
        )

    def _requirement(self, requirement: Requirement) -> Finding:
        subject, found = requirement.id, self._found
        title = self._title(requirement)
        if subject in found.violated:
            return self._violated(requirement, title)
        if subject in found.supported:
            return self._supported(subject, title)
        if subject in found.impossible:
            return self._impossible(subject, "What should be reachable is impossible.")
        if requirement.kind is RequirementKind.REACHABLE:
            return Finding(
                subject,
                self._method(title),
                Verdict.NOT_RUN,
                "Not impossible by the facts found; a witness is looked for by exploration.",
            )
        return self._resisting(subject, title)

    def _title(self, requirement: Requirement) -> str:
        supported = self._found.supported.get(requirement.id)
        if supported is not None and supported.ranking is not None:
            return _METHODS[RequirementKind.BOUNDED]
        return _METHODS[requirement.kind]

    def _supported(self, subject: str, title: str) -> Finding:
        supported = self._found.supported[subject]
        obligations = self._with_facts(subject)
        rests = "Needs no further facts."
        if supported.rests_on_facts:
            rests = "Rests on facts (obligations facts/...)."
        figures = {}
        detail = rests
        if supported.ranking is not None:
            ticks = supported.ticks
            obligations = (*obligations, *self._tables(supported.ranking))
            figures["longest_ticks"] = ticks
            lines = [f"{words(s)}: {rank}" for s, rank in supported.ranking.ranks.items()]
            ranks = f" Rank in {'; '.join(lines)}." if lines else ""
            detail = f"Within {ticks} ticks, whatever the inputs do.{ranks} {rests}"
        return self._decided(subject, title, obligations, detail, figures)

    def _with_facts(self, subject: str) -> tuple[Obligation, ...]:
        own = self._plan.supported[subject]
        return (*own, *self._plan.facts) if subject in self._plan.resting_on_facts else own

    def _tables(self, ranking: Ranking) -> tuple[Obligation, ...]:
        """Return that a tick is always possible on the way: time passes only by ticks."""
        tables = self._plan.of_every_trial
        return tuple(o for state in ranking.course.states for o in tables[SINGLE_HIT + state])

    def _impossible(self, subject: str, what: str) -> Finding:
        decided = self._decided(subject, methods.INDUCTION, self._with_facts(subject), "")
        if decided.verdict is not Verdict.PROVED:
            return decided
        return Finding(
            subject,
            decided.method,
            Verdict.REFUTED,
            f"{what} No run can show it; the obligations prove it.",
            obligations=decided.obligations,
        )

    def _violated(self, requirement: Requirement, title: str) -> Finding:
        trace = replay(self._trial, self._found.violated[requirement.id])
        if requirement.id not in violated_in(self._trial, trace):
            raise AssertionError(f"{requirement.id}: the counterexample does not replay")
        detail = f"Violated after {len(trace.ticks)} ticks; no shorter run violates it."
        return Finding(
            requirement.id,
            self._method(f"{title}{methods.UNROLLED}"),
            Verdict.REFUTED,
            detail,
            counterexample=trace,
        )

    def _resisting(self, subject: str, title: str) -> Finding:
        resisting = self._found.resisting[subject]
        detail = f"Not proved: {resisting.reason}."
        if resisting.moment is not None:
            detail += f" It would fail in {described(resisting.moment)}, if that were reachable."
        if self._found.out_of_time:
            detail += " The time for the search ran out before all kinds of facts were tried."
        if (ticks := self._found.unrolled_ticks.get(subject, -1)) >= 0:
            detail += f" No run of up to {ticks} ticks violates it."
        return Finding(subject, self._method(title), Verdict.UNFINISHED, detail)

    def _failing_table(
        self, subject: str, example: Moment, obligations: Sequence[Obligation]
    ) -> Finding:
        first = Snapshot(example.state, example.variables, {})
        trace = replay(self._trial, [example.inputs], first)
        rows = ", ".join(holding_rows(self._trial, example)) or "no row"
        true = ", ".join(true_conditions(self._trial, example)) or "no condition is true"
        detail = (
            f"In the state {words(subject.removeprefix(SINGLE_HIT))}, {rows} holds in "
            f"{described(example)}. True conditions: {true}."
        )
        return Finding(
            subject,
            self._method(methods.TABLES),
            Verdict.REFUTED,
            detail,
            counterexample=trace,
            obligations=tuple(obligations),
        )


_TABLE = "Exactly one row holds for all variables and inputs in their ranges."
_OF_EVERY_TRIAL = {
    NO_OVERFLOW: "Every intermediate value fits 32 bits signed.",
    RANGES: "Variables and outputs stay in their declared ranges.",
}
