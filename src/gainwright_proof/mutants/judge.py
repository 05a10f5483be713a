"""Decides about every mutant of a trial: caught, equivalent, survived, or undecided."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from threading import Lock

from gainwright.language.attainable import Attainable
from gainwright.language.model import Trial
from gainwright.language.scope import Bounds
from gainwright.language.single_hit import DeadRow, table_faults
from gainwright_codegen.host.compilation import CompilerLimit
from gainwright_proof.exploration.encoding import MOST_CODES, encoding_of
from gainwright_proof.exploration.engine import Engine, OutOfMemory, Result
from gainwright_proof.exploration.limits import Limits, limit_reached
from gainwright_proof.exploration.short_waits import Wait, waits, with_short_waits
from gainwright_proof.exploration.vectors import TooManyVectors, vectors_by_state
from gainwright_proof.mutants.compare import Comparison
from gainwright_proof.mutants.generate import mutants
from gainwright_proof.mutants.mutant import Mutant, MutationKind
from gainwright_proof.mutants.mutant_model import TooManySituations
from gainwright_proof.mutants.report import Judged, MutantReport, Outcome, Stage, mutant_report

Progress = Callable[[int, int], None]
"""Told how many mutants are done, and how many there are."""

MOST_EXPLORED = 300
"""Mutants that are explored one by one because nothing cheaper decides them."""
_BATCH = 600


def judge_mutants(
    trial: Trial,
    progress: Progress = lambda done, total: None,
    workers: int | None = None,
    limits: Limits | None = None,
    most_explored: int = MOST_EXPLORED,
) -> MutantReport:
    """Return what becomes of every single change of a proved trial.

    The same trial and limits give the same report, with any number of workers.

    Args:
        trial: the original; what is called caught is caught by one of its requirements, or by what
            is asked of every trial.
        progress: called now and then, by any thread.
        workers: threads; as many as there are processors unless given.
        limits: how far to explore the original, and each mutant that nothing cheaper decides.
        most_explored: so many of these at most, in the order of the mutants.

    Raises:
        InputError: the C of the trial cannot be compiled.
    """
    short, everything, shortened = _in_short(trial)
    judge = _Judge(short, everything, shortened, limits or Limits())
    with ThreadPoolExecutor(workers or os.cpu_count() or 1) as pool:
        found: dict[str, Judged] = {}
        for batch in pool.map(judge.compared, judge.batches()):
            found |= {judged.id: judged for judged in batch}
            decided = sum(judged.outcome is not Outcome.UNDECIDED for judged in found.values())
            progress(decided, len(everything))
        left = [found[m.id] for m in everything if found[m.id].outcome is Outcome.UNDECIDED]
        for done, judged in enumerate(pool.map(judge.explored, left[:most_explored]), start=1):
            found[judged.id] = judged
            progress(len(everything) - len(left) + done, len(everything))
    return mutant_report(trial, [found[mutant.id] for mutant in everything])


@dataclass(frozen=True, slots=True)
class _Original:
    """The original, explored as far as the limits allow."""

    comparison: Comparison | None
    incomplete: str
    """Why not everything that it reaches is known; empty if it is."""


class _Judge:
    def __init__(
        self,
        short: Trial,
        everything: Sequence[Mutant],
        shortened: Sequence[Wait],
        limits: Limits,
    ) -> None:
        """``short`` is the trial with short waits; ``everything`` are its mutants."""
        self._trial, self._everything, self._limits = short, everything, limits
        self._original = _original(short, everything, shortened, limits)
        # What conditions can hold together is found once for all mutants that leave them alone.
        self._attainable = _attainable(short)
        # The solver that the check of tables asks does not bear two threads at once.
        self._solver = Lock()

    def batches(self) -> Iterator[list[Mutant]]:
        """Yield mutants that can be compared together, some at a time."""
        groups: dict[object, list[Mutant]] = {}
        comparison = self._original.comparison
        for mutant in self._everything:
            alike = None if comparison is None else comparison.alike(mutant)
            groups.setdefault(alike, []).append(mutant)
        for group in groups.values():
            for begin in range(0, len(group), _BATCH):
                yield group[begin : begin + _BATCH]

    def compared(self, batch: Sequence[Mutant]) -> list[Judged]:
        """Judge mutants of one variant by comparison with the original."""
        comparison = self._original.comparison
        if comparison is None:
            return [_undecided(mutant, self._original.incomplete) for mutant in batch]
        try:
            prepared = comparison.prepared(batch)
            for state in batch[0].states:
                if not comparison.compare(prepared, _emptied(self._trial, state)).differs:
                    reason = f"the comparison does not notice that all rows of {state} are gone"
                    return [_undecided(mutant, reason) for mutant in batch]
            return [self._compared(mutant, comparison, prepared) for mutant in batch]
        except TooManyVectors as error:
            return [_undecided(mutant, str(error)) for mutant in batch]
        except MemoryError:
            return [_undecided(mutant, "memory ran out") for mutant in batch]

    def _compared(self, mutant: Mutant, comparison: Comparison, prepared: object) -> Judged:
        found = comparison.compare(prepared, mutant)
        by = found.violated
        if found.not_single_hit:
            by = (f"single_hit/{found.not_single_hit}", *by)
        if by:
            return Judged(mutant, Outcome.CAUGHT, Stage.COMPARED, by)
        if faults := self._table_faults(mutant):
            return Judged(mutant, Outcome.CAUGHT, Stage.TABLE, faults)
        if found.differs:
            return _undecided(mutant, "some reachable tick is another one", differs=True)
        if self._original.incomplete:
            return _undecided(mutant, f"no difference seen, but {self._original.incomplete}")
        detail = "the same tick in every reachable moment for all inputs"
        return Judged(mutant, Outcome.EQUIVALENT, Stage.COMPARED, detail=detail)

    def _table_faults(self, mutant: Mutant) -> tuple[str, ...]:
        """Return what the check of the language refuses: tables must be single-hit for all values
        in the declared ranges, reachable or not."""
        trial = mutant.trial(self._trial)
        found: dict[str, None] = {}
        with self._solver:
            attainable = _attainable(trial) if mutant.new_conditions else self._attainable
            for state in mutant.states:
                found |= self._faults_in(state, trial, attainable)
        return tuple(found)

    @staticmethod
    def _faults_in(state: str, trial: Trial, attainable: Attainable) -> dict[str, None]:
        faults = table_faults(trial.rows_by_state[state], attainable)
        return dict.fromkeys(
            f"row/{f.row.id}" if isinstance(f, DeadRow) else f"single_hit/{state}" for f in faults
        )

    def explored(self, judged: Judged) -> Judged:
        """Explore a mutant by itself, with its times."""
        comparison = self._original.comparison
        if comparison is None or self._original.incomplete:
            return judged
        if self._doubt:
            return replace(judged, detail=f"{judged.detail}; {self._doubt}")
        try:
            found = comparison.reached(judged.mutant, self._limits.nodes)
        except (TooManyVectors, MemoryError) as error:
            return replace(judged, detail=f"{judged.detail}; {error or 'memory ran out'}")
        if found.failed:
            return replace(judged, outcome=Outcome.CAUGHT, stage=Stage.EXPLORED,
                           caught_by=found.failed, detail="")  # fmt: skip
        if not found.complete:
            detail = f"{judged.detail}; more than {found.nodes:,} states are reached"
            return replace(judged, stage=Stage.EXPLORED, detail=detail)
        detail = "it does something else, and no requirement tells, in all that it reaches"
        return replace(judged, outcome=Outcome.SURVIVED, stage=Stage.EXPLORED, detail=detail)

    @cached_property
    def _doubt(self) -> str:
        """Say why exploration of single mutants is not believed; empty if it is.

        The control: the original, explored as mutants are, must reach what it reaches and fail
        nothing.
        """
        comparison = self._original.comparison
        assert comparison is not None
        if comparison.untimed:
            return comparison.untimed
        try:
            found = comparison.reached(None, self._limits.nodes)
        except (TooManyVectors, MemoryError) as error:
            return f"the original itself cannot be explored so: {error or 'memory ran out'}"
        if not found.failed and found.complete and found.nodes == comparison.nodes:
            return ""
        return (
            f"the original itself, explored as a mutant, reaches {found.nodes:,} of "
            f"{comparison.nodes:,} states and fails {', '.join(found.failed) or 'nothing'}"
        )


def _attainable(trial: Trial) -> Attainable:
    signals = {s.name: Bounds(s.kind, s.low, s.high) for s in (*trial.inputs, *trial.variables)}
    return Attainable({c.name: c for c in trial.conditions}, signals)


def _in_short(trial: Trial) -> tuple[Trial, tuple[Mutant, ...], tuple[Wait, ...]]:
    """Return the trial with short waits, its mutants, named as those of the trial itself, and what
    was shortened.

    A number that is off by one is so there too: the values next to each constant are kept. If the
    mutants do not correspond, the trial is returned as it is.
    """
    everything = mutants(trial)
    shortened = waits(trial)
    short = with_short_waits(trial, shortened)
    in_short = mutants(short)
    if [(m.kind, m.rows) for m in everything] != [(m.kind, m.rows) for m in in_short]:
        return trial, everything, ()
    pairs = zip(everything, in_short, strict=True)
    named = tuple(replace(s, id=full.id, change=full.change) for full, s in pairs)
    return short, named, shortened


def _emptied(trial: Trial, state: str) -> Mutant:
    """Return a control: a state without rows, which every comparison must notice."""
    rows = trial.rows_by_state[state]
    return Mutant(
        f"control/{state}", MutationKind.ROW_REMOVED, tuple(row.id for row in rows), (state,),
        "no row is left", {row.id: None for row in rows},
    )  # fmt: skip


def _undecided(mutant: Mutant, detail: str, *, differs: bool = False) -> Judged:
    return Judged(mutant, Outcome.UNDECIDED, Stage.NONE, detail=detail, differs=differs)


def _original(
    trial: Trial, everything: Sequence[Mutant], shortened: Sequence[Wait], limits: Limits
) -> _Original:
    encoding = encoding_of(trial)
    if encoding.codes > MOST_CODES:
        return _Original(None, "state and variables have more combinations than 63 bits hold")
    try:
        engine = Engine(trial, vectors_by_state(trial, limits.vectors), encoding, limits.nodes)
        engine.keep_rows()
        begun = time.thread_time()
        while (result := engine.run(1 << 16)) is Result.MORE:
            if time.thread_time() - begun > limits.seconds:
                break
        incomplete = "" if result is Result.COMPLETE else "the original is not explored in full"
        return _Original(
            Comparison(trial, everything, engine.codes_and_rows(), encoding, shortened), incomplete
        )
    except (TooManyVectors, TooManySituations) as error:
        return _Original(None, str(error) or "the variables can matter in too many ways")
    except CompilerLimit as error:
        return _Original(None, limit_reached(error))
    except (OutOfMemory, MemoryError):
        return _Original(None, "memory ran out")
