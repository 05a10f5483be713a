"""The evidence folder: written whole, read with suspicion."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gainwright.errors import InputError, Problem, input_error
from gainwright.language.model import Trial
from gainwright.result_folder import result_folder
from gainwright_proof.evidence.document import (
    DOCUMENT,
    FORMAT,
    VERSION,
    document_text,
    exported_digest,
    obligations_of,
)
from gainwright_proof.verdict import Finding, Obligation

SUFFIX = ".smt2"
README = """\
Evidence of a proof of a tuning trial.

evidence.json    what was proved, by what, on which bytes; verdicts, counts, assumptions
obligations/     SMT-LIB 2.6 scripts; each must be unsatisfiable, with any solver
counterexamples/ a run per refuted subject: gainwright prove TRIAL --replay FILE

Check it again:  gainwright prove TRIAL --recheck THIS_FOLDER

The proof covers the trial and its exported C under the assumptions listed in evidence.json. It is
not a certificate and not a safety function; risk assessment, local codes and licensed practice
decide.
"""


@dataclass(frozen=True, slots=True)
class Evidence:
    """An evidence folder that was read and found whole."""

    document: Mapping[str, Any]
    digest: str
    """SHA-256 (hex) of the document."""
    obligations: tuple[Obligation, ...]


def write_evidence(
    directory: str | Path,
    document: Mapping[str, Any],
    findings: Sequence[Finding],
    runs: Mapping[str, str],
    force: bool = False,
) -> None:
    """Write the folder, whole or not at all; InputError if it cannot be written.

    ``runs`` has the text of a file that replays for each subject that is refuted by a run.
    """
    with result_folder(directory, force=force) as folder:
        (folder / DOCUMENT).write_text(document_text(document), encoding="utf-8")
        (folder / "README.txt").write_text(README, encoding="utf-8")
        for obligation in obligations_of(findings):
            path = folder / "obligations" / f"{obligation.name}{SUFFIX}"
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(obligation.text, encoding="utf-8")
        for subject, text in runs.items():
            path = folder / "counterexamples" / f"{subject.replace('/', '-')}.json"
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8")


def read_evidence(directory: str | Path) -> Evidence:
    """Read a folder and check that it is whole: form, version, digest of each obligation.

    Raises:
        InputError: naming everything that is missing, of another version or tampered with.
    """
    folder = Path(directory)
    path = folder / DOCUMENT
    try:
        text = path.read_text(encoding="utf-8")
        document = json.loads(text)
    except (OSError, ValueError) as error:
        raise input_error(
            path, "", getattr(error, "strerror", None) or f"no JSON text ({error})",
            "the evidence document of `gainwright prove --out`", "name a folder made by it",
        ) from error  # fmt: skip
    _check_form(path, document)
    if document_text(document) != text:
        raise input_error(
            path, "", "JSON in another form (keys twice, spaces, escapes)",
            "the text that `gainwright prove --out` writes", "prove the trial again",
        )  # fmt: skip
    problems: list[Problem] = []
    obligations = tuple(
        obligation
        for name, digest in document["obligations"].items()
        for obligation in _read_obligation(folder, name, digest, problems)
    )
    problems += _unlisted(folder, document)
    if problems:
        raise InputError(problems)
    return Evidence(document, hashlib.sha256(text.encode()).hexdigest(), obligations)


def _check_form(path: Path, document: Any) -> None:
    known = isinstance(document, dict) and document.get("format") == FORMAT
    if not known or document.get("version") != VERSION:
        found = "another kind of JSON" if not known else f"version {document.get('version')!r}"
        raise input_error(
            path, "format" if not known else "version", found, f"{FORMAT}, version {VERSION}",
            "prove the trial again with this version",
        )  # fmt: skip
    wanted = ("trial", "exported", "verdicts", "findings", "obligations")
    missing = [key for key in wanted if key not in document]
    if missing:
        raise input_error(
            path, ", ".join(missing), "missing", "a complete document", "prove the trial again"
        )


def _read_obligation(
    folder: Path, name: str, digest: str, problems: list[Problem]
) -> list[Obligation]:
    path = folder / "obligations" / f"{name}{SUFFIX}"
    remedy = "prove the trial again; do not use this evidence"
    try:
        obligation = Obligation.of(name, path.read_bytes().decode("utf-8"))
    except (OSError, ValueError) as error:
        found = getattr(error, "strerror", None) or "not UTF-8 text"
        problems.append(Problem(str(path), "", found, f"an obligation of {digest}", remedy))
        return []
    if obligation.digest != digest:
        problems.append(
            Problem(str(path), "SHA-256", obligation.digest, f"{digest}, as listed", remedy)
        )
        return []
    return [obligation]


def _unlisted(folder: Path, document: Mapping[str, Any]) -> list[Problem]:
    base = folder / "obligations"
    listed = {f"{name}{SUFFIX}" for name in document["obligations"]}
    present = {path.relative_to(base).as_posix() for path in base.rglob(f"*{SUFFIX}")}
    return [
        Problem(str(base / name), "", "a file that is not listed", "listed obligations only",
                "remove it, or prove the trial again")
        for name in sorted(present - listed)
    ]  # fmt: skip


def check_belongs(
    directory: str | Path, evidence: Evidence, trial: Trial, exported: Mapping[str, bytes]
) -> None:
    """Raise InputError if the evidence is about another specification or other C."""
    document, place = evidence.document, str(Path(directory) / DOCUMENT)
    problems = []
    files = {name: hashlib.sha256(exported[name]).hexdigest() for name in sorted(exported)}
    for key, found, wanted in (
        ("trial.name", document["trial"].get("name"), trial.name),
        ("exported.files", document["exported"].get("files"), files),
        ("trial.digest", document["trial"]["digest"], trial.digest),
        ("exported.digest", document["exported"]["digest"], exported_digest(exported)),
    ):
        if found != wanted:
            what = "specification" if key.startswith("trial") else "exported C"
            problems.append(
                Problem(
                    place, key, str(found), f"{wanted}, that of this {what}",
                    "prove this trial with this version, and give that evidence",
                )
            )  # fmt: skip
    if problems:
        raise InputError(problems)
