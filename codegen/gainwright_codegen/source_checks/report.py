"""Makes one finding of what a checker says about the sound source and about planted defects."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Protocol

from gainwright.proof.verdict import Finding, Verdict
from gainwright.spec.model import Trial
from gainwright_codegen.source_checks.plants import Plant
from gainwright_codegen.source_checks.workspace import Workspace

SUBJECT = "c_source"
"""Subjects of findings begin with this."""

Wait = Callable[[], list[Finding]]


@dataclass(frozen=True, slots=True)
class Task:
    """What every method is given."""

    workspace: Workspace
    trial: Trial
    limit_s: float
    """Time limit of one run of a tool."""
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


def finding(
    subject: str,
    method: str,
    claim: str,
    sound: Outcome,
    planted: Iterable[tuple[Plant, str | None]],
) -> Finding:
    """Return a finding: proved only if the source is sound and every planted defect was noticed.

    Args:
        subject: what is proved about, after ``c_source/``.
        method: name and version of the tool.
        claim: what is shown, as a clause.
        sound: the answer about the exported source.
        planted: each defect, and why it counts as missed (None if it was noticed).
    """
    planted = list(planted)
    missed = [f"{plant.what}: {why}" for plant, why in planted if why is not None]
    verdict, detail = sound.verdict, f"{claim}: {sound.detail}"
    if verdict is Verdict.PROVED and missed:
        verdict = Verdict.UNFINISHED
        detail = f"not believed, as it missed what was planted ({'; '.join(missed)})"
    elif verdict is Verdict.PROVED:
        detail = f"{detail}; {_caught(planted)}"
    figures = {**sound.figures, "planted_defects_found": len(planted) - len(missed)}
    return Finding(f"{SUBJECT}/{subject}", method, verdict, detail + ".", figures=figures)


def not_run(subject: str, method: str, reason: str) -> Finding:
    return Finding(f"{SUBJECT}/{subject}", method, Verdict.NOT_RUN, reason + ".")


def _caught(planted: Sequence[tuple[Plant, str | None]]) -> str:
    names = ", ".join(plant.what for plant, _ in planted)
    return f"planted defects found in the same run: {names}"
