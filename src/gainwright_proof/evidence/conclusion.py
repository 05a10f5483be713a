"""One verdict per subject, over all methods that looked at it."""

from __future__ import annotations

from collections.abc import Container, Iterable
from dataclasses import dataclass

from gainwright.language.model import Trial
from gainwright_proof.second_reader import READERS_AGREE
from gainwright_proof.verdict import HOLDS, Finding, Verdict


@dataclass(frozen=True, slots=True)
class Conclusion:
    """What all methods together say of a subject."""

    subject: str
    verdict: Verdict
    proved_by: tuple[str, ...]
    """Methods that proved it, each independent of the others."""
    others: tuple[tuple[str, Verdict], ...]
    """Methods that did not, with what they said."""


def conclude(findings: Iterable[Finding]) -> tuple[Conclusion, ...]:
    """Return a conclusion per subject, in the order in which subjects first appear.

    Refuted if any method refutes; else proved if any method proves; else tested if any method
    tested it; else unfinished if any method tried; else not run. A method that is missing takes
    nothing away from one that proved.
    """
    by_subject: dict[str, list[Finding]] = {}
    for finding in findings:
        by_subject.setdefault(finding.subject, []).append(finding)
    return tuple(_conclude(subject, found) for subject, found in by_subject.items())


def _conclude(subject: str, findings: list[Finding]) -> Conclusion:
    verdicts = [finding.verdict for finding in findings]
    order = (
        Verdict.REFUTED,
        Verdict.PROVED,
        Verdict.TESTED,
        Verdict.UNFINISHED,
        Verdict.NOT_RUN,
    )
    verdict = next(candidate for candidate in order if candidate in verdicts)
    return Conclusion(
        subject,
        verdict,
        tuple(f.method for f in findings if f.verdict is Verdict.PROVED),
        tuple((f.method, f.verdict) for f in findings if f.verdict is not Verdict.PROVED),
    )


def exit_code(conclusions: Iterable[Conclusion], required: Container[str] | None = None) -> int:
    """Return 0 if everything is proved or tested, 1 if anything is refuted, else 3.

    ``required`` names subjects that must be proved; without it, all must be. A subject beyond them
    may be left out for want of a tool, but what was tried must have been proved.
    """
    verdicts = {
        conclusion.verdict
        for conclusion in conclusions
        if conclusion.verdict is not Verdict.NOT_RUN
        or required is None
        or conclusion.subject in required
    }
    if Verdict.REFUTED in verdicts:
        return 1
    return 0 if verdicts and verdicts <= HOLDS else 3


def required_subjects(trial: Trial) -> frozenset[str]:
    """Return what must be proved of every trial: its requirements, its tables, its reading."""
    requirements = {requirement.id for requirement in trial.requirements}
    tables = {f"single_hit/{state.name}" for state in trial.states}
    return frozenset(requirements | tables | {READERS_AGREE})
