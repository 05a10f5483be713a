"""A trial that is too large to be explored as it is: slice by slice.

What is found so holds of the trial itself (:mod:`slices`), times too, but it is found on C with
fewer variables than the C that ships; that this is the specification has to be shown apart
(``c_source/step_as_specified``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from gainwright.language.model import Trial
from gainwright_proof.exploration.slices import Influence, Slice
from gainwright_proof.exploration.subjects import (
    AS_SPECIFIED,
    AS_WRITTEN,
    END_REACHABLE,
    ONE_STEP,
    WHOLE_TRIAL,
)
from gainwright_proof.methods import EXPLORATION_IN_PARTS
from gainwright_proof.verdict import HOLDS, Finding, Verdict

_KEPT = frozenset({"longest_ticks", "first_tick", "vacuous"})
"""Figures of a slice that are the trial's own."""
Findings = tuple[Finding, ...]
Explore = Callable[[Trial], tuple[Findings, Findings]]
"""Returns the findings about a trial and about its premises."""


def explored_in_parts(trial: Trial, explore: Explore) -> tuple[Findings, Findings]:
    """Return findings about a trial, and about its premises, from explorations of its slices."""
    findings, seen = list[Finding](), list[Finding]()
    for number, part in enumerate(Influence(trial).slices()):
        if not part.trial.requirements and number > 0:
            continue
        found, premises = explore(part.trial)
        said = _variables_in_words(part)
        findings += _about_rows(found, said) if number == 0 else ()
        asked = {AS_WRITTEN, *(requirement.id for requirement in part.trial.requirements)}
        findings += [_of_the_trial(f, f.detail, said) for f in found if f.subject in asked]
        seen += [_of_the_trial(finding, finding.detail, said) for finding in premises]
    return tuple(findings), tuple(seen)


def _variables_in_words(part: Slice) -> str:
    return f"Sliced: without {', '.join(part.without)}. " if part.without else "All variables. "


def _about_rows(found: Findings, said: str) -> Iterator[Finding]:
    """Yield what depends on nothing but which rows are taken."""
    for finding in found:
        if finding.subject in (AS_SPECIFIED, ONE_STEP) and finding.verdict in HOLDS:
            text = "On the C of the slice, which has fewer variables than the C that ships."
            yield replace(_of_the_trial(finding, text, said), verdict=Verdict.TESTED)
        elif finding.subject.startswith(("single_hit/", "row/")) or finding.subject in (
            AS_SPECIFIED, END_REACHABLE, ONE_STEP, WHOLE_TRIAL,
        ):  # fmt: skip
            yield _of_the_trial(finding, finding.detail, said)


def _of_the_trial(finding: Finding, text: str, said: str) -> Finding:
    """Return a finding of a slice as one about the trial: its runs are not runs of the trial."""
    figures = {name: n for name, n in finding.figures.items() if name in _KEPT}
    return replace(
        finding, method=EXPLORATION_IN_PARTS, detail=said + text, figures=figures,
        counterexample=None, witness=None,
    )  # fmt: skip
