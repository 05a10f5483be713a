"""A trial that is too large to be explored as it is: slice by slice, with short waits.

What is found so holds of the trial itself (:mod:`slices`, :mod:`short_waits`), but it is found on
C with fewer variables and other constants than the C that ships; that this is the specification has
to be shown apart (``c_source/step_as_specified``). Times are not kept, so requirements on them stay
open here; induction does not depend on the number of states.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from gainwright.language.model import Trial
from gainwright_proof.exploration.report import METHOD
from gainwright_proof.exploration.short_waits import waits, with_short_waits
from gainwright_proof.exploration.slices import Influence, Slice
from gainwright_proof.exploration.subjects import (
    AS_SPECIFIED,
    END_REACHABLE,
    ONE_STEP,
    PREMISE,
)
from gainwright_proof.verdict import HOLDS, Finding, Verdict

if TYPE_CHECKING:
    from gainwright_proof.exploration.exploration import Exploration

IN_PARTS = f"{METHOD}, in parts"
Explore = Callable[[Trial], "Exploration"]


def explored_in_parts(
    trial: Trial, explore: Explore
) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Return findings about a trial, and about its premises, from explorations of its slices."""
    findings, seen = list[Finding](), list[Finding]()
    for number, part in enumerate(Influence(trial).slices()):
        if not part.trial.requirements and number > 0:
            continue
        shortened = waits(part.trial)
        found = explore(with_short_waits(part.trial, shortened))
        said = _said(part, [wait.variable.name for wait in shortened])
        findings += _about_rows(found, said) if number == 0 else ()
        findings += _about_requirements(part.trial, found, said)
        seen += [
            _told(finding, "The premise is seen." if _seen(finding) else finding.detail, said)
            for finding in found.premises
        ]
    return tuple(findings), tuple(seen)


def _said(part: Slice, short: list[str]) -> str:
    without = f"Sliced: without {', '.join(part.without)}" if part.without else "All variables"
    return f"{without}; short waits in {', '.join(short)}. " if short else f"{without}. "


def _about_rows(found: Exploration, said: str) -> Iterator[Finding]:
    """Yield what depends on nothing but which rows are taken."""
    for finding in found.findings:
        if finding.subject in (AS_SPECIFIED, ONE_STEP) and finding.verdict in HOLDS:
            text = "On the C of the slice, which has other constants than the C that ships."
            yield replace(_told(finding, text, said), verdict=Verdict.TESTED)
        elif finding.subject.startswith(("single_hit/", "row/")) or finding.subject in (
            AS_SPECIFIED, END_REACHABLE, ONE_STEP,
        ):  # fmt: skip
            yield _told(finding, finding.detail, said)


def _about_requirements(trial: Trial, found: Exploration, said: str) -> Iterator[Finding]:
    untimed = {r.id for r in trial.requirements if not r.is_timed}
    for finding in found.findings:
        if finding.subject in untimed:
            yield _told(finding, finding.detail, said)


def _seen(finding: Finding) -> bool:
    return finding.subject.startswith(PREMISE) and "first_tick" in finding.figures


def _told(finding: Finding, text: str, said: str) -> Finding:
    """Return a finding of a slice as one about the trial: its runs are not runs of the trial."""
    return replace(
        finding, method=IN_PARTS, detail=said + text, figures={},
        counterexample=None, witness=None,
    )  # fmt: skip
