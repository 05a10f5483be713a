"""Explores a trial exhaustively on the compiled C and says what that proves."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from gainwright.language.model import Trial
from gainwright_codegen.host.compilation import CompilerLimit
from gainwright_proof.exploration.encoding import MOST_CODES, encoding_of
from gainwright_proof.exploration.engine import (
    BrokenGraph,
    Engine,
    Figures,
    Note,
    OutOfMemory,
    Result,
)
from gainwright_proof.exploration.forgotten import forgetting_findings
from gainwright_proof.exploration.in_parts import explored_in_parts
from gainwright_proof.exploration.judge import Judge, unfinished_findings
from gainwright_proof.exploration.limits import Limits, limit_reached
from gainwright_proof.exploration.run_file import Run
from gainwright_proof.exploration.short_waits import distinct_with_short_waits, waits
from gainwright_proof.exploration.subjects import AS_SPECIFIED
from gainwright_proof.exploration.vacuity import Vacuity, premises_unfinished
from gainwright_proof.exploration.vectors import StateVectors, TooManyVectors, vectors_by_state
from gainwright_proof.methods import EXPLORATION
from gainwright_proof.verdict import Finding, Verdict

Progress = Callable[[int, int], None]
"""Called now and then with the nodes expanded and the nodes found so far."""

_SLICE = 1 << 16


@dataclass(frozen=True, slots=True)
class Exploration:
    """What was found. Everything in it depends on trial and limits only."""

    digest: str
    """Of the specification."""
    codes: int
    """Combinations of state and variables that the ranges allow."""
    stopped: str
    """Why the exploration is incomplete; empty if it is complete."""
    figures: Figures | None
    """None if it could not begin."""
    nodes_by_state: Mapping[str, int]
    ticks_by_row: Mapping[str, int]
    single_misses: Mapping[str, Mapping[str, bool]]
    """For each row and each of its conditions: whether a reachable tick failed the row by this
    condition alone. With the row taken at all, this is MC/DC of the row (each condition shown to
    decide on its own)."""
    saturating: tuple[str, ...]
    """Variables that some assignment was limited for."""
    longest_run_ticks: int | None
    """Longest time from leaving the end states until one is reached; None if it has no bound or is
    not known."""
    findings: tuple[Finding, ...]
    runs: Mapping[str, Run]
    """Counterexamples and witnesses by subject."""
    runs_to_rows: tuple[Run, ...] = ()
    """From reset through each row that can be reached."""
    premises: tuple[Finding, ...] = ()
    """Whether what the requirements speak of occurs; empty if it was not asked."""
    short_wait_states: int | None = None
    """Different states once waits are shortened (:mod:`short_waits`), to hold against a second
    checker; None if the exploration is incomplete or it was not asked."""
    vectors: tuple[StateVectors, ...] = ()
    """The inputs that were tried in each state; empty if it could not begin."""

    @property
    def complete(self) -> bool:
        return not self.stopped


def explore(
    trial: Trial,
    limits: Limits | None = None,
    progress: Progress | None = None,
    exported: Mapping[str, bytes] | None = None,
    premises: bool = False,
    in_parts: bool = True,
    folds: bool = True,
) -> Exploration:
    """Explore all that a trial can do from reset, whatever the inputs.

    ``exported`` is the C to explore, if it is not what the exporter writes now. ``premises``: is
    what the requirements speak of looked for too, and are states counted with short waits? Then
    ``in_parts`` lets a trial that is too large be explored in parts. Without ``folds`` every value
    of every timer is a state by itself (``gx_pass.h``); what is found is the same.

    A trial that is too large is not an error: the findings then say what ran out.

    Raises:
        InputError: the trial cannot be exported or compiled.
    """
    limits = limits or Limits()
    encoding = encoding_of(trial)
    try:
        if encoding.codes > MOST_CODES:
            raise _CannotBegin(
                f"state and variables have {encoding.codes:,} combinations, more than 63 bits hold"
            )
        vectors = vectors_by_state(trial, limits.vectors)
        engine = Engine(trial, vectors, encoding, limits.nodes, exported, folds)
    except (TooManyVectors, _CannotBegin, OutOfMemory, CompilerLimit) as error:
        reason = limit_reached(error)
        return _not_begun(trial, encoding.codes, reason, limits, premises, in_parts)
    stopped = _searched(engine, limits, progress)
    if stopped:
        stopped = _in_words(stopped, engine.figures, encoding.codes)
    judge = Judge(trial, engine, stopped)
    findings, runs_to_rows = _judged(trial, judge)
    seen: tuple[Finding, ...] = ()
    if premises and not stopped:
        seen = tuple(Vacuity(trial, limits, exported, engine).findings())
    elif premises and in_parts:
        findings, seen = _with_parts(trial, stopped, limits, findings)
    elif premises:
        seen = tuple(premises_unfinished(trial, stopped))
    return Exploration(
        digest=trial.digest,
        codes=encoding.codes,
        stopped=stopped,
        figures=engine.figures,
        nodes_by_state=_named((s.name for s in trial.states), engine.nodes_by_state()),
        ticks_by_row=_named((row.id for row in trial.rows), engine.ticks_by_row()),
        single_misses=_single_misses(trial, engine),
        saturating=tuple(
            variable.name
            for number, variable in enumerate(trial.variables)
            if engine.first(Note.SATURATED, number) is not None
        ),
        longest_run_ticks=judge.longest_run_ticks,
        findings=findings,
        runs=judge.runs,
        runs_to_rows=runs_to_rows,
        premises=seen,
        short_wait_states=_short_wait_states(trial, engine) if premises and not stopped else None,
        vectors=vectors,
    )


def _with_parts(
    trial: Trial, stopped: str, limits: Limits, findings: tuple[Finding, ...]
) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Return findings, and those about premises, with what exploration in parts adds."""

    def explored(part: Trial) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
        whole = explore(part, limits, premises=True, in_parts=False)
        return whole.findings, whole.premises

    parts, seen = explored_in_parts(trial, explored)
    parts = (*parts, *forgetting_findings(trial, parts))
    return findings + parts, seen or tuple(premises_unfinished(trial, stopped))


def _short_wait_states(trial: Trial, engine: Engine) -> int:
    return distinct_with_short_waits(trial, engine.codes(), waits(trial))


def _judged(trial: Trial, judge: Judge) -> tuple[tuple[Finding, ...], tuple[Run, ...]]:
    """Return findings and the runs to all rows."""
    try:
        return tuple(judge.findings()), tuple(judge.runs_to_rows())
    except BrokenGraph as error:
        broken = Finding(AS_SPECIFIED, EXPLORATION, Verdict.REFUTED, f"In the search {error}.")
        others = unfinished_findings(trial, str(error))
        return (broken, *(f for f in others if f.subject != AS_SPECIFIED)), ()


class _CannotBegin(Exception):
    pass


def _searched(engine: Engine, limits: Limits, progress: Progress | None) -> str:
    """Search, and return what ended it early; empty if nothing did."""
    begun = time.thread_time()
    while (result := engine.run(_SLICE)) is Result.MORE:
        figures = engine.standing
        if progress is not None:
            progress(figures.expanded, figures.nodes)
        if figures.bytes > limits.megabytes * 1e6:
            return f"the limit of {limits.megabytes:,.0f} MB was reached"
        if time.thread_time() - begun > limits.seconds:
            return f"the limit of {limits.seconds:,.0f} s of processor time was reached"
    return _ENDED[result]


_ENDED = {
    Result.COMPLETE: "",
    Result.NO_MEMORY: "memory ran out",
    Result.TOO_MANY: "the limit was reached",
}


def _in_words(stopped: str, figures: Figures, codes: int) -> str:
    return (
        f"{stopped} after {figures.nodes:,} reachable combinations of state and variables (the "
        f"ranges allow {codes:,}; {figures.bytes / 1e6:,.0f} MB used)"
    )


def _not_begun(
    trial: Trial, codes: int, reason: str, limits: Limits, premises: bool, in_parts: bool
) -> Exploration:
    findings = tuple(unfinished_findings(trial, reason))
    unseen = tuple(premises_unfinished(trial, reason)) if premises else ()
    if premises and in_parts:
        findings, unseen = _with_parts(trial, reason, limits, findings)
    return Exploration(
        trial.digest, codes, reason, None, {}, {}, {}, (), None, findings, {}, (), unseen
    )


def _named(names: Iterable[str], values: Iterable[int]) -> dict[str, int]:
    return dict(zip(names, values, strict=True))


def _single_misses(trial: Trial, engine: Engine) -> dict[str, dict[str, bool]]:
    numbers = trial.index.conditions
    slots = max(1, len(trial.conditions))
    return {
        row.id: {
            name: engine.first(Note.SINGLE_MISS, k * slots + numbers[name]) is not None
            for name in (*row.when, *row.unless)
        }
        for k, row in enumerate(trial.rows)
    }
