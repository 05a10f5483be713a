"""Explores trials that forget most variables, for requirements that need few of them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor

from gainwright.language.model import Requirement, RequirementKind, Trial
from gainwright_codegen.host.compilation import CompilerLimit
from gainwright_proof.exploration.encoding import MOST_CODES, encoding_of
from gainwright_proof.exploration.engine import Engine, OutOfMemory, Result
from gainwright_proof.exploration.forgetting import Forgetting, must_be_kept
from gainwright_proof.exploration.judge import Judge
from gainwright_proof.exploration.short_waits import waits
from gainwright_proof.exploration.subjects import AS_WRITTEN
from gainwright_proof.exploration.vectors import StateVectors, TooManyVectors, WayFinder
from gainwright_proof.methods import EXPLORATION_IN_PARTS
from gainwright_proof.verdict import HOLDS, Finding, Verdict

MOST_WAYS = 4_000
MOST_NODES = 300_000
_TOGETHER = 100
"""Combinations of values of what requirements of one exploration keep."""
_SLICE = 1 << 16


def forgetting_findings(trial: Trial, found_before: Iterable[Finding]) -> list[Finding]:
    """Return what is proved of a trial by explorations that forget variables, of all that was not
    decided before. What is not proved so is not mentioned.
    """
    decided = {f.subject for f in found_before if f.verdict in (*HOLDS, Verdict.REFUTED)}
    found: list[Finding] = []
    timers = frozenset(wait.variable.name for wait in waits(trial))
    left = [
        r for r in trial.requirements
        if r.kind is not RequirementKind.REACHABLE and r.id not in decided
    ]  # fmt: skip
    for more in (frozenset[str](), timers):
        for kept, requirements in _groups(trial, left, more):
            found += _explored(trial, kept, requirements)
        proved = {f.subject for f in found if f.verdict is Verdict.PROVED}
        left = [r for r in left if r.id not in proved]
    return _written_once(found, AS_WRITTEN in decided)


def _size(trial: Trial, name: str) -> int:
    variable = trial.variables[trial.index.variables[name]]
    return variable.high - variable.low + 1


def _groups(
    trial: Trial, requirements: Iterable[Requirement], more: frozenset[str]
) -> Iterator[tuple[frozenset[str], list[Requirement]]]:
    """Yield requirements that are explored together, with what they keep."""
    kept_by = {r.id: must_be_kept(trial, r) for r in requirements}
    kept: frozenset[str] = frozenset()
    group: list[Requirement] = []
    order = sorted(requirements, key=lambda r: (len(kept_by[r.id]), sorted(kept_by[r.id])))
    for requirement in order:
        together = kept | kept_by[requirement.id]
        size = math.prod(_size(trial, name) for name in together)
        if group and together != kept and size > _TOGETHER:
            yield kept | more, group
            together, group = kept_by[requirement.id], []
        kept = together
        group.append(requirement)
    if group:
        yield kept | more, group


def _explored(
    trial: Trial, kept: frozenset[str], requirements: Sequence[Requirement]
) -> Iterator[Finding]:
    part = Forgetting(trial, kept).trial(requirements)
    try:
        engine = _searched(part)
    except (TooManyVectors, OutOfMemory, CompilerLimit):
        return
    if engine is None:
        return
    judge = Judge(part, engine, "")
    names = ", ".join(v.name for v in trial.variables if v.name in kept) or "none"
    said = f"With the variables {names} alone, all else as it likes in every tick. "
    with ThreadPoolExecutor(1) as pool:
        for finding in judge.requirements(pool):
            if finding.verdict is Verdict.PROVED:
                yield _of_the_trial(finding, said)
    yield _of_the_trial(judge.as_written(), said)


def _of_the_trial(finding: Finding, said: str) -> Finding:
    return Finding(
        finding.subject, EXPLORATION_IN_PARTS, finding.verdict, said + finding.detail,
        figures={n: v for n, v in finding.figures.items() if n == "longest_ticks"},
    )  # fmt: skip


def _searched(part: Trial) -> Engine | None:
    """Return a finished search; None if it is too large."""
    encoding = encoding_of(part)
    if encoding.codes > MOST_CODES:
        return None
    finder, vectors = WayFinder(part), []
    for state in part.states:
        found = finder.of(state, MOST_WAYS)
        vectors.append(StateVectors(state.name, found, len(found), None, ()))
    engine = Engine(part, vectors, encoding, MOST_NODES, folds=True)
    while (result := engine.run(_SLICE)) is Result.MORE:
        pass
    return engine if result is Result.COMPLETE else None


def _written_once(found: Iterable[Finding], known: bool) -> list[Finding]:
    """Keep one word on what was asked, the worst; if that is known, only what is worse."""
    every = list(found)
    written = [f for f in every if f.subject == AS_WRITTEN]
    worst = [f for f in written if f.verdict not in HOLDS] or ([] if known else written)
    return [f for f in every if f.subject != AS_WRITTEN] + worst[:1]
