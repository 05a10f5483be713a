"""Makes one finding of what a checker says about the sound source and about inserted defects."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Protocol

from gainwright.language.model import Trial
from gainwright_proof.c_checks.defects import Defect
from gainwright_proof.c_checks.workspace import Workspace
from gainwright_proof.verdict import HOLDS, Finding, Verdict

SUBJECT = "c_source"
"""Subjects of findings begin with this."""

_RUNS = "bytes, options and program of the runs: "
Wait = Callable[[], list[Finding]]


@dataclass(frozen=True, slots=True)
class Task:
    """What every method is given."""

    workspace: Workspace
    trial: Trial
    limit_s: float
    """Processor time of one run of a tool."""
    seed: int


class Method(Protocol):
    """Starts a method on the executor; the result waits for it and returns its findings."""

    def __call__(self, pool: Executor, task: Task) -> Wait: ...


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a checker says about one version of the source."""

    verdict: Verdict
    detail: str
    figures: Mapping[str, int]
    runs: tuple[str, ...] = ()
    """Digests of what the runs read that show it."""


def finding(
    subject: str,
    method: str,
    claim: str,
    sound: Outcome,
    inserted: Iterable[tuple[Defect, str | None]],
) -> Finding:
    """Return a finding: proved (or tested) only if the source is sound and every inserted defect
    was noticed.

    Args:
        subject: what is proved about, after ``c_source/``.
        method: name and version of the tool.
        claim: what is shown, as a clause.
        sound: the answer about the exported source.
        inserted: each defect, and why it counts as missed (None if it was noticed).
    """
    inserted = list(inserted)
    missed = [f"{defect.what}: {why}" for defect, why in inserted if why is not None]
    verdict, detail = sound.verdict, f"{claim}: {sound.detail}"
    if verdict in HOLDS and missed:
        verdict = Verdict.UNFINISHED
        detail = f"not believed, as it missed what was inserted ({'; '.join(missed)})"
    elif verdict in HOLDS:
        detail = f"{detail}; {_caught(inserted)}"
    if sound.runs:
        detail = f"{detail}; {_RUNS}{_digest(sound.runs)}"
    figures = {**sound.figures, "inserted_defects_found": len(inserted) - len(missed)}
    return Finding(f"{SUBJECT}/{subject}", method, verdict, detail + ".", figures=figures)


def is_restated(stated: Finding, made: Finding) -> bool:
    """Return whether a finding says what its method writes, but for the digest of its runs."""
    detail = re.sub(f"; {_RUNS}[0-9a-f]{{64}}\\.$", ".", stated.detail)
    return detail == made.detail and dict(stated.figures) == dict(made.figures)


def all_noticed(defects: Iterable[Defect]) -> list[tuple[Defect, str | None]]:
    """Return the defects as a method reports them that notices each."""
    return [(defect, None) for defect in defects]


def _digest(runs: Sequence[str]) -> str:
    return hashlib.sha256("".join(runs).encode()).hexdigest()


def not_run(subject: str, method: str, reason: str) -> Finding:
    return Finding(f"{SUBJECT}/{subject}", method, Verdict.NOT_RUN, reason + ".")


def _caught(inserted: Sequence[tuple[Defect, str | None]]) -> str:
    names = ", ".join(defect.what for defect, _ in inserted)
    return f"inserted defects found in the same run: {names}"
