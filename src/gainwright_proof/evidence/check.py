"""Evidence is checked, not believed: against itself, against its trial, and by proving again.

What a document says of itself costs nothing to write. So verdicts are derived from its findings,
what must be proved is derived from the trial, and findings and obligations are held against those
that the same methods give now. Whoever pastes digests, drops an obligation or writes "proved" would
have to change the trial too, and that changes what comes out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from gainwright.errors import InputError, Problem
from gainwright.language.model import Trial
from gainwright_proof.evidence.conclusion import (
    Conclusion,
    conclude,
    what_is_open,
)
from gainwright_proof.evidence.document import ASSUMPTIONS, DOCUMENT, counts_of, one_way
from gainwright_proof.evidence.folder import Evidence
from gainwright_proof.evidence.out_of_place import faults_of_findings
from gainwright_proof.evidence.overview import overview
from gainwright_proof.evidence.tried_mutants import mutant_faults
from gainwright_proof.exploration.subjects import AGREEMENT
from gainwright_proof.methods import BY_SMT, RECHECKERS, REPEATED, family, is_known
from gainwright_proof.verdict import Finding, Obligation, Verdict

_REMEDY = "prove the trial again; do not use this evidence"
_MOST = 8
"""Differences that are told one by one."""


def stated_findings(document: Mapping[str, Any]) -> list[Finding]:
    """Return the findings of a document, without traces and texts of obligations.

    Raises:
        ValueError: an entry is no finding; the text says which.
    """
    findings = []
    for number, entry in enumerate(document["findings"], 1):
        try:
            findings.append(
                Finding(
                    str(entry["subject"]),
                    str(entry["method"]),
                    Verdict(entry["verdict"]),
                    str(entry["detail"]),
                    figures=dict(entry["figures"]),
                    obligations=tuple(Obligation(str(n), "", "") for n in entry["obligations"]),
                )
            )
        except (KeyError, TypeError, ValueError) as error:
            raise ValueError(f"finding {number}: {error}") from error
    return findings


def check_document(
    directory: str | Path, evidence: Evidence, trial: Trial
) -> tuple[Conclusion, ...]:
    """Check a document against itself and return the conclusions from its findings.

    Raises:
        InputError: its verdicts or counts are not those of its findings, a finding names a method
            that no proof has or an obligation that is not there, none names an obligation that is,
            the assumptions differ, or what it says of mutants does not follow from its list.
    """
    place, document = str(Path(directory) / DOCUMENT), evidence.document
    try:
        findings = stated_findings(document)
    except ValueError as error:
        raise InputError([Problem(place, "findings", str(error), "findings", _REMEDY)]) from error
    conclusions = conclude(findings)
    derived = {item.subject: item.verdict.value for item in conclusions}
    named = {o.name for finding in findings for o in finding.obligations}
    listed = set(document["obligations"])
    lines = [line.as_json() for line in overview(trial, findings)]
    unknown = sorted({finding.method for finding in findings if not is_known(finding.method)})
    problems = [
        Problem(place, "findings", f"the method '{name}'", "a method that proofs have", _REMEDY)
        for name in unknown
    ]
    problems += [
        Problem(place, "findings", text, "what a proof writes", _REMEDY)
        for text in faults_of_findings(document, findings, trial)
    ]
    problems += [
        Problem(place, "mutants", text, "what follows from the list", _REMEDY)
        for text in mutant_faults(document, trial)
    ]
    for key, found, wanted in (
        ("verdicts", document["verdicts"], derived),
        ("counts", document.get("counts"), counts_of(conclusions, findings)),
        ("one_way", document.get("one_way"), one_way(conclusions)),
        ("assumptions", document.get("assumptions"), list(ASSUMPTIONS)),
        ("obligations", sorted(listed), sorted(named)),
        ("requirements", _without_rows(document.get("requirements")), _without_rows(lines)),
    ):
        if found != wanted:
            text = f"{key} that do not follow from the findings: {_difference(found, wanted)}"
            problems.append(Problem(place, key, text, "those that follow", _REMEDY))
    if problems:
        raise InputError(problems)
    return conclusions


def check_stamps(
    directory: str | Path,
    conclusions: Iterable[Conclusion],
    trial: Trial,
    to_stamp: bool = True,
) -> None:
    """Raise InputError unless all that a stamp requires is proved, and nothing tried is open.

    ``to_stamp`` as in :func:`gainwright_proof.evidence.conclusion.what_is_open`.
    """
    problems = [
        Problem(
            str(Path(directory) / DOCUMENT), "findings", text, "everything required proved",
            "see what is open with `gainwright prove`; export without --evidence to go on unproved",
        )
        for text in what_is_open(conclusions, trial, to_stamp)[:_MOST]
    ]  # fmt: skip
    if problems:
        raise InputError(problems)


def check_against(
    directory: str | Path,
    evidence: Evidence,
    found: Sequence[Finding],
    exploration: Mapping[str, int] | None,
) -> None:
    """Raise InputError unless the evidence says what methods found again just now.

    Args:
        directory: the evidence folder, for the message.
        evidence: what is checked.
        found: findings; their methods are held against those of the same methods in the evidence.
        exploration: counts of the exploration, made again.
    """
    methods = {finding.method for finding in found}
    families = frozenset(REPEATED)
    if any(family(method) in BY_SMT for method in methods):
        families |= set(BY_SMT) - set(RECHECKERS)
    stated = {
        (f.subject, f.method): (f.verdict.value, f.detail, dict(f.figures))
        for f in stated_findings(evidence.document)
        if f.method in methods or family(f.method) in families
    }
    again = {(f.subject, f.method): (f.verdict.value, f.detail, dict(f.figures)) for f in found}
    place = str(Path(directory) / DOCUMENT)
    problems = [
        Problem(
            place, f"findings, {subject}", _finding_in_words(stated.get((subject, method))),
            f"{_finding_in_words(again.get((subject, method)))} ({method})", _REMEDY,
        )
        for subject, method in sorted(
            stated.keys() | again.keys(), key=lambda key: (not _refuted(again.get(key)), key)
        )
        if stated.get((subject, method)) != again.get((subject, method))
    ]  # fmt: skip
    if evidence.document.get("exploration") != exploration:
        text = _difference(evidence.document.get("exploration"), exploration)
        problems.append(Problem(place, "exploration", text, "the counts found again", _REMEDY))
    if problems:
        raise InputError(problems[:_MOST])


def check_count(directory: str | Path, evidence: Evidence, counted: int | None) -> None:
    """Raise InputError unless the second checker stored as many states as were counted just now,
    with short waits; ``counted`` is None where the exploration is incomplete."""
    for finding in stated_findings(evidence.document):
        if finding.subject != AGREEMENT or finding.verdict is not Verdict.PROVED:
            continue
        stored = finding.figures.get("stored_states")
        if stored != counted:
            problem = Problem(
                str(Path(directory) / DOCUMENT), f"findings, {AGREEMENT}", f"{stored} states",
                f"{counted}, as the exploration counts with short waits", _REMEDY,
            )  # fmt: skip
            raise InputError([problem])


def taken_as_said(evidence: Evidence, again: Iterable[Finding]) -> list[str]:
    """Return the methods, sorted, whose findings were not made again."""
    made = {family(finding.method) for finding in again}
    stated = {
        family(finding.method)
        for finding in stated_findings(evidence.document)
        if finding.verdict is not Verdict.NOT_RUN
    }
    return sorted(stated - made)


def check_obligations(
    directory: str | Path, evidence: Evidence, again: Sequence[Obligation]
) -> None:
    """Raise InputError unless names and texts of all obligations are those of the trial.

    ``again`` are the obligations of the findings that prove something, made from the trial anew.
    """
    stated = {obligation.name: obligation.digest for obligation in evidence.obligations}
    wanted = {obligation.name: obligation.digest for obligation in again}
    base = Path(directory) / "obligations"
    problems = []
    for name in sorted(stated.keys() | wanted.keys()):
        if stated.get(name) == wanted.get(name):
            continue
        found = "an obligation that this trial does not have"
        if name in wanted:
            found = "another text" if name in stated else "no such obligation"
        problems.append(
            Problem(
                str(base / f"{name}.smt2"), "", found,
                "the obligations that this trial and this version of the solver give", _REMEDY,
            )
        )  # fmt: skip
    if problems:
        raise InputError(problems[:_MOST])


def _without_rows(lines: Any) -> Any:
    """Leave out what only mutants know."""
    if not isinstance(lines, list) or not all(isinstance(line, dict) for line in lines):
        return lines
    return [{**line, "rows": None} for line in lines]


def _refuted(finding: tuple[str, str, Mapping[str, int]] | None) -> bool:
    return finding is not None and finding[0] == Verdict.REFUTED.value


def _finding_in_words(finding: tuple[str, str, Mapping[str, int]] | None) -> str:
    return "nothing" if finding is None else f"{finding[0]}: {finding[1]}"


def _difference(found: Any, wanted: Any) -> str:
    """Say the first difference of two plain values."""
    if isinstance(found, dict) and isinstance(wanted, dict):
        for key in sorted(found.keys() | wanted.keys()):
            if found.get(key) != wanted.get(key):
                return f"{key} is {found.get(key)!r}, not {wanted.get(key)!r}"
    if isinstance(found, list) and isinstance(wanted, list):
        for item in (*found, *wanted):
            if (item in found) != (item in wanted):
                return f"{item!r} {'is too much' if item in found else 'is missing'}"
    return f"{type(found).__name__} instead of {type(wanted).__name__}"
