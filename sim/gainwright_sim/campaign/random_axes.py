"""Rehearses a trial on random axes and compares each limit with the exact one."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import repeat

from gainwright.errors import InputError
from gainwright.language.model import Trial
from gainwright_sim.campaign.families import OWN, Family
from gainwright_sim.campaign.sampling import sample
from gainwright_sim.machine import Machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.summary import find_onset, outcome
from gainwright_sim.theory.limit import (
    StabilityLimit,
    UnstableAtStartError,
    machine_stability_limit,
)

CHUNK = 10
"""Axes that a worker takes at a time."""


@dataclass(frozen=True, slots=True)
class AxisResult:
    """One axis of a campaign."""

    family: str
    axis_seed: int
    noise_seed: int
    masses: int
    exact_limit: float | None
    """None: no limit above the start gain, or unstable already there."""
    exact_frequency_hz: float | None
    outcome: str
    """As of :class:`Summary`, or ``refused``."""
    reason: str = ""
    """What was refused."""
    limit: float | None = None
    limit_rung: int | None = None
    result: float | None = None
    """Gain that the trial says it verified."""
    oscillation_of_limit: float = 0.0
    machine_time_s: float = 0.0
    violations: tuple[str, ...] = ()

    @property
    def ratio(self) -> float:
        """Limit found over exact limit; nan where one of them is missing."""
        if self.limit is None or self.exact_limit is None:
            return math.nan
        return self.limit / self.exact_limit


class Benches:
    """One bench for each control tick, since times of the trial may be compiled in."""

    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self._benches: dict[float, Bench] = {}

    def mounted(self, machine: Machine) -> Bench:
        """Return a bench with this machine on it; InputError if the trial does not fit it."""
        tick_s = machine.drive.control_tick_s
        if tick_s in self._benches:
            self._benches[tick_s].mount(machine)
        else:
            self._benches[tick_s] = Bench(self._trial, machine, changeable=True)
        return self._benches[tick_s]


def run_axes(
    trial: Trial,
    axis_seeds: Iterable[int],
    noise_offset: int = 0,
    workers: int = 1,
    progress: Callable[[int], None] = lambda done: None,
    family: Family = OWN,
) -> list[AxisResult]:
    """Rehearse a trial on the random axis of each seed, in the order of the seeds.

    Args:
        trial: its first stage is compared with theory.
        axis_seeds: of :func:`sample`.
        noise_offset: added to the axis seed to give the seed of the torque noise.
        workers: processes to share the work.
        progress: told how many axes are done.
        family: that the axes are drawn from.
    """
    seeds = list(axis_seeds)
    _compile(trial, family)
    chunks = [seeds[k : k + CHUNK] for k in range(0, len(seeds), CHUNK)]
    results: list[AxisResult] = []
    for part in _map(trial, family, chunks, noise_offset, workers):
        results += part
        progress(len(results))
    return results


def _compile(trial: Trial, family: Family) -> None:
    """Compile before the workers start, which then find everything in the cache."""
    benches, machine = Benches(trial), sample(family, 0)
    for tick_s in family.control_tick_s or (machine.drive.control_tick_s,):
        drive = replace(machine.drive, control_tick_s=tick_s)
        with suppress(InputError):
            benches.mounted(replace(machine, drive=drive))


def _map(
    trial: Trial, family: Family, chunks: list[list[int]], noise_offset: int, workers: int
) -> Iterator[list[AxisResult]]:
    work = (run_chunk, repeat(trial), repeat(family), chunks, repeat(noise_offset))
    if workers <= 1:
        yield from map(*work)
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(*work)


def run_chunk(
    trial: Trial, family: Family, axis_seeds: list[int], noise_offset: int
) -> list[AxisResult]:
    """Rehearse a few axes on the same benches."""
    benches = Benches(trial)
    return [_run(benches, family, seed, seed + noise_offset) for seed in axis_seeds]


def _run(benches: Benches, family: Family, axis_seed: int, noise_seed: int) -> AxisResult:
    machine = sample(family, axis_seed)
    exact: StabilityLimit | None = None
    with suppress(UnstableAtStartError):
        exact = machine_stability_limit(machine)
    if exact is not None and not math.isfinite(exact.gain):
        exact = None
    known = {
        "family": family.name,
        "axis_seed": axis_seed,
        "noise_seed": noise_seed,
        "masses": machine.chain.mass_count,
        "exact_limit": None if exact is None else exact.gain,
        "exact_frequency_hz": None if exact is None else exact.frequency_hz,
    }
    try:
        bench = benches.mounted(machine)
    except InputError as error:
        return AxisResult(**known, outcome="refused", reason=str(error))
    rehearsal = rehearse(bench, noise_seed)
    onset, how = find_onset(rehearsal, bench.trial.stages[0]), outcome(rehearsal)
    peak_nm = float(rehearsal.log.signal("torque_oscillation").max(initial=0.0))
    result = int(rehearsal.variable(bench.trial.stages[0].result)[-1])
    return AxisResult(
        **known,
        limit=None if onset is None else bench.tables[0].gains[onset.rung],
        limit_rung=None if onset is None else onset.rung,
        result=bench.tables[0].gains[result] if how == "finished" else None,
        outcome=how,
        oscillation_of_limit=peak_nm / machine.drive.torque_limit_nm,
        machine_time_s=rehearsal.machine_time_s,
        violations=tuple(violation.requirement_id for violation in rehearsal.violations),
    )
