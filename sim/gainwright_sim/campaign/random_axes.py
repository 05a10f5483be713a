"""Rehearses a trial on random axes and compares each limit with the exact one."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from itertools import repeat

from gainwright.spec.model import Trial
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.summary import find_onset, outcome
from gainwright_sim.theory.limit import (
    StabilityLimit,
    UnstableAtStartError,
    machine_stability_limit,
)
from gainwright_sim.theory.random_axis import sample_axis

CHUNK = 10
"""Axes that a worker takes at a time."""


@dataclass(frozen=True, slots=True)
class AxisResult:
    """One axis of a campaign."""

    axis_seed: int
    noise_seed: int
    masses: int
    exact_limit: float | None
    """None: no limit above the start gain, or unstable already there."""
    exact_frequency_hz: float | None
    limit: float | None
    limit_rung: int | None
    outcome: str
    oscillation_of_limit: float
    machine_time_s: float
    violations: tuple[str, ...]

    @property
    def ratio(self) -> float:
        """Limit found over exact limit; nan where one of them is missing."""
        if self.limit is None or self.exact_limit is None:
            return math.nan
        return self.limit / self.exact_limit


def run_axes(
    trial: Trial,
    axis_seeds: Iterable[int],
    noise_offset: int = 0,
    workers: int = 1,
    progress: Callable[[int], None] = lambda done: None,
) -> list[AxisResult]:
    """Rehearse a trial on the random axis of each seed, in the order of the seeds.

    Args:
        trial: its first stage is compared with theory.
        axis_seeds: of :func:`sample_axis`.
        noise_offset: added to the axis seed to give the seed of the torque noise.
        workers: processes to share the work.
        progress: told how many axes are done.
    """
    seeds = list(axis_seeds)
    # Compiled once before the workers start, which then find it in the cache.
    Bench(trial, sample_axis(seeds[0] if seeds else 0), changeable=True)
    chunks = [seeds[k : k + CHUNK] for k in range(0, len(seeds), CHUNK)]
    results: list[AxisResult] = []
    for part in _map(trial, chunks, noise_offset, workers):
        results += part
        progress(len(results))
    return results


def _map(
    trial: Trial, chunks: list[list[int]], noise_offset: int, workers: int
) -> Iterator[list[AxisResult]]:
    if workers <= 1:
        yield from map(run_chunk, repeat(trial), chunks, repeat(noise_offset))
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(run_chunk, repeat(trial), chunks, repeat(noise_offset))


def run_chunk(trial: Trial, axis_seeds: list[int], noise_offset: int) -> list[AxisResult]:
    """Rehearse a few axes on one bench."""
    bench = Bench(trial, sample_axis(axis_seeds[0]), changeable=True)
    return [_run(bench, seed, seed + noise_offset) for seed in axis_seeds]


def _run(bench: Bench, axis_seed: int, noise_seed: int) -> AxisResult:
    machine = sample_axis(axis_seed)
    bench.mount(machine)
    rehearsal = rehearse(bench, noise_seed)
    onset = find_onset(rehearsal, bench.trial.stages[0])
    exact: StabilityLimit | None = None
    with suppress(UnstableAtStartError):
        exact = machine_stability_limit(machine)
    if exact is not None and not math.isfinite(exact.gain):
        exact = None
    peak_nm = float(rehearsal.log.signal("torque_oscillation").max(initial=0.0))
    return AxisResult(
        axis_seed=axis_seed,
        noise_seed=noise_seed,
        masses=machine.chain.mass_count,
        exact_limit=None if exact is None else exact.gain,
        exact_frequency_hz=None if exact is None else exact.frequency_hz,
        limit=None if onset is None else bench.tables[0].gains[onset.rung],
        limit_rung=None if onset is None else onset.rung,
        outcome=outcome(rehearsal),
        oscillation_of_limit=peak_nm / machine.drive.torque_limit_nm,
        machine_time_s=rehearsal.machine_time_s,
        violations=tuple(violation.requirement_id for violation in rehearsal.violations),
    )
