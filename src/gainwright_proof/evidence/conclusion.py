"""One verdict per subject, over all methods that looked at it."""

from __future__ import annotations

from collections.abc import Container, Iterable
from dataclasses import dataclass

from gainwright.language.model import Trial
from gainwright_proof.exploration.subjects import (
    AS_SPECIFIED,
    AS_WRITTEN,
    AXIS_BINDING,
    END_REACHABLE,
    ONE_STEP,
    PREMISE,
    SPECIFIED_TWICE,
    TRANSLATION,
    WHOLE_TRIAL,
)
from gainwright_proof.exploration.vacuity import premises
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
    """Return what must be proved (or tested, where it says so) of every trial."""
    names = {requirement.id for requirement in trial.requirements}
    names |= {f"{PREMISE}/{r.id}" for r in trial.requirements if premises(r)}
    names |= {f"single_hit/{state.name}" for state in trial.states}
    names |= {f"row/{row.id}" for row in trial.rows}
    names |= {AS_SPECIFIED, ONE_STEP, AS_WRITTEN, AXIS_BINDING, READERS_AGREE}
    if any(state.end for state in trial.states):
        names |= {END_REACHABLE, WHOLE_TRIAL}
    return frozenset(names)


def what_is_open(
    conclusions: Iterable[Conclusion], trial: Trial, to_stamp: bool = True
) -> list[str]:
    """Return what keeps an export from being stamped, worst first; empty if nothing does.

    A subject that is not required may be left out for want of a tool; what was tried must hold.
    A stamp also takes induction, and a word on the second writing of the specification in C, be
    it that the tool is missing: exploration alone (``--quick``) stamps nothing. Without
    ``to_stamp`` only what :func:`required_subjects` names is asked for.
    """
    found = {item.subject: item.verdict for item in conclusions}
    required = required_subjects(trial)
    mentioned: frozenset[str] = frozenset()
    if to_stamp:
        required |= {TRANSLATION}
        mentioned = frozenset(SPECIFIED_TWICE)
    left = {name: Verdict.NOT_RUN for name in sorted((required | mentioned) - found.keys())}
    left |= {
        name: verdict
        for name, verdict in found.items()
        if verdict not in HOLDS and (verdict is not Verdict.NOT_RUN or name in required)
    }
    order = (Verdict.REFUTED, Verdict.UNFINISHED, Verdict.NOT_RUN)
    return [f"{name} ({left[name].value})" for name in sorted(left, key=lambda n: (
        order.index(left[n]), n))]  # fmt: skip
