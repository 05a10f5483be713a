"""Puts every mutant of a trial to its requirements, on several processors."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor

from gainwright.proof.mutants.cascade import Cascade, Evidence, evidence
from gainwright.proof.mutants.generate import mutants
from gainwright.proof.mutants.mutant import Mutant
from gainwright.proof.mutants.outcome import Fate, Outcome
from gainwright.proof.mutants.prover import Decide, Equivalent, put_to_provers
from gainwright.proof.mutants.report import MutantReport, mutant_report
from gainwright.spec.model import Trial

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
    for found in _decided(worker, batches, workers):
        outcomes += found
        progress(len(outcomes), len(everything))
    return mutant_report(trial, seed, outcomes)


class _Worker:
    """Decides about batches of mutants; made once, sent to every process."""

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

    def __call__(self, batch: Sequence[Mutant]) -> list[Outcome]:
        if self._cascade is None:  # compiled code can not be sent, so each process makes its own
            self._cascade = Cascade(self._trial, self._found, self._seed)
        outcomes = [self._cascade.decide(mutant) for mutant in batch]
        return [
            put_to_provers(outcome, self._trial, self._decide, self._equivalent)
            if outcome.fate is Fate.UNDECIDED
            else outcome
            for outcome in outcomes
        ]


def _decided(
    worker: _Worker, batches: Sequence[Sequence[Mutant]], workers: int
) -> Iterator[list[Outcome]]:
    """Yield the outcomes of each batch, in order."""
    if workers == 1:
        yield from map(worker, batches)
        return
    # A fresh process each: a copy of this one could inherit locks of its threads.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, context, _begin, (worker,)) as pool:
        try:
            yield from pool.map(_work, batches)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


_workers: list[_Worker] = []
"""The worker of this process, once it has begun."""


def _begin(worker: _Worker) -> None:
    _workers[:] = [worker]


def _work(batch: Sequence[Mutant]) -> list[Outcome]:
    return _workers[0](batch)
