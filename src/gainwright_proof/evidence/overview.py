"""One line per requirement: hazard, verdict, ways, premise, longest wait, rows it constrains."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gainwright.language.model import NEVER, Trial
from gainwright_proof.evidence.conclusion import conclude
from gainwright_proof.exploration.subjects import PREMISE
from gainwright_proof.verdict import Finding, Verdict


@dataclass(frozen=True, slots=True)
class RequirementLine:
    """What is known of one requirement."""

    hazard: str
    requirement: str
    verdict: Verdict
    proved_by: tuple[str, ...]
    """Methods, each with its tool."""
    premise: str
    """``seen``, ``vacuous``, ``not seen`` (the search ran out), or ``none`` if there is none."""
    premise_after_ticks: int | None
    """Ticks from reset until all its premises have been seen, at the earliest."""
    longest_wait_ticks: int | None
    """The longest that can happen."""
    bound_ticks: int | None
    rows: tuple[str, ...] | None
    """Rows of which it notices a changed copy; None if no mutants were tried."""

    def as_json(self) -> dict[str, Any]:
        return {
            "hazard": self.hazard,
            "requirement": self.requirement,
            "verdict": self.verdict.value,
            "proved_by": list(self.proved_by),
            "premise": self.premise,
            "premise_after_ticks": self.premise_after_ticks,
            "longest_wait_ticks": self.longest_wait_ticks,
            "bound_ticks": self.bound_ticks,
            "rows": None if self.rows is None else list(self.rows),
        }


def overview(
    trial: Trial,
    findings: Iterable[Finding],
    rows_noticed: Mapping[str, Sequence[str]] | None = None,
) -> tuple[RequirementLine, ...]:
    """Return the lines, by hazard in the order of the trial.

    ``rows_noticed`` has, for each requirement, the rows of which it caught a mutant.
    """
    found = list(findings)
    conclusions = {item.subject: item for item in conclude(found)}
    order = {hazard.id: number for number, hazard in enumerate(trial.hazards)}
    lines = []
    for requirement in sorted(trial.requirements, key=lambda r: order.get(r.hazard, 0)):
        own = [finding for finding in found if finding.subject == requirement.id]
        waits = [f.figures["longest_ticks"] for f in own if "longest_ticks" in f.figures]
        premise, after = _premise(found, requirement.id)
        conclusion = conclusions.get(requirement.id)
        lines.append(
            RequirementLine(
                requirement.hazard,
                requirement.id,
                Verdict.NOT_RUN if conclusion is None else conclusion.verdict,
                () if conclusion is None else conclusion.proved_by,
                premise,
                after,
                waits[0] if waits else None,
                None if requirement.within_ticks == NEVER else requirement.within_ticks,
                None if rows_noticed is None else tuple(rows_noticed.get(requirement.id, ())),
            )
        )
    return tuple(lines)


def _premise(findings: Sequence[Finding], requirement: str) -> tuple[str, int | None]:
    subject = f"{PREMISE}/{requirement}"
    told = [finding for finding in findings if finding.subject == subject]
    if not told:
        return "none", None
    if any("vacuous" in finding.figures for finding in told):
        return "vacuous", None
    # One method may have run out where another has seen it.
    seen = next((finding for finding in told if finding.verdict is Verdict.PROVED), None)
    return ("not seen", None) if seen is None else ("seen", seen.figures.get("first_tick"))
