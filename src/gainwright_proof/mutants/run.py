"""Puts every mutant of a trial to its requirements, on several processors."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from typing import Any

from gainwright.language.model import Trial
from gainwright_proof.mutants.cascade import Cascade, Evidence, evidence
from gainwright_proof.mutants.generate import mutants
from gainwright_proof.mutants.mutant import Mutant
from gainwright_proof.mutants.outcome import Fate, Outcome
from gainwright_proof.mutants.prover import Decide, Equivalent, put_to_provers
from gainwright_proof.mutants.report import MutantReport, mutant_report

Progress = Callable[[int, int], None]
"""Told how many mutants are done, and how many there are."""

BATCH = 24
"""Mutants that a worker takes at a time."""


def run_mutants(
    trial: Trial,
    workers: int = 2,
    progress: Progress = lambda done, total: None,
    decide: Decide | None = None,
    equivalent: Equivalent | None = None,
    seed: int = 0,
) -> MutantReport:
    """Return what becomes of every single-row change of a trial.

    The same trial, seed and provers give the same report, with any number of workers. It takes for
    granted that the trial itself is proved: what is called equivalent rests on its requirements.

    Args:
        trial: the original.
        workers: processes; with 1 everything runs in this one.
        progress: called in this process, now and then.
        decide: proves or refutes a changed trial that nothing cheaper decides; without it such
            mutants stay undecided. With several workers, a function at the top of a module.
        equivalent: compares original and changed trial; likewise.
        seed: of the search for reachable moments, 0 or more.
    """
    everything = mutants(trial)
    batches = [everything[k : k + BATCH] for k in range(0, len(everything), BATCH)]
    worker = _Worker(trial, evidence(trial, seed), seed, decide, equivalent)
    outcomes: list[Outcome] = []
    with _mapping(worker, workers) as mapped:
        for found in mapped(_decide, batches):
            outcomes += found
            progress(sum(o.fate is not Fate.UNDECIDED for o in outcomes), len(everything))
        open_places = [k for k, o in enumerate(outcomes) if o.fate is Fate.UNDECIDED]
        proved = mapped(_ask_provers, [outcomes[k] for k in open_places])
        for asked, (place, outcome) in enumerate(zip(open_places, proved, strict=True), start=1):
            outcomes[place] = outcome
            progress(len(everything) - len(open_places) + asked, len(everything))
    return mutant_report(trial, seed, outcomes)


class _Worker:
    """Decides about mutants; made once, sent to every process."""

    def __init__(
        self,
        trial: Trial,
        found: Evidence,
        seed: int,
        decide: Decide | None,
        equivalent: Equivalent | None,
    ) -> None:
        self._trial, self._found, self._seed = trial, found, seed
        self._decide, self._equivalent = decide, equivalent
        self._cascade: Cascade | None = None

    def decide(self, batch: Sequence[Mutant]) -> list[Outcome]:
        """Decide without a prover."""
        if self._cascade is None:  # compiled code cannot be sent, so each process makes its own
            self._cascade = Cascade(self._trial, self._found, self._seed)
        return [self._cascade.decide(mutant) for mutant in batch]

    def ask_provers(self, outcome: Outcome) -> Outcome:
        return put_to_provers(outcome, self._trial, self._decide, self._equivalent)


_workers: list[_Worker] = []
"""The worker of this process, once it has begun."""


def _begin(worker: _Worker) -> None:
    # Ctrl-C is answered by the first process alone.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _workers[:] = [worker]


def _decide(batch: Sequence[Mutant]) -> list[Outcome]:
    return _workers[0].decide(batch)


def _ask_provers(outcome: Outcome) -> Outcome:
    return _workers[0].ask_provers(outcome)


Mapped = Callable[[Callable[[Any], Any], Sequence[Any]], Iterator[Any]]


@contextmanager
def _mapping(worker: _Worker, workers: int) -> Iterator[Mapped]:
    """Yield a ``map`` that keeps the order; what is not begun is given up after an error."""
    if workers == 1:
        _workers[:] = [worker]
        try:
            yield map
        finally:
            _workers.clear()
        return
    # A fresh process each: a copy of this one could inherit locks of its threads.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, context, _begin, (worker,)) as pool:
        try:
            yield pool.map
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
