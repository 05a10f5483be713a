"""Rehearses a trial on the random axes of a family and compares each with exact theory."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import partial

from gainwright.errors import InputError
from gainwright.language.model import Trial
from gainwright_sim.campaign.families import OWN, Family
from gainwright_sim.campaign.sampling import sample
from gainwright_sim.campaign.workers import share_out
from gainwright_sim.machine import Machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.outcome import OUTCOMES
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.summary import Summary, summarise
from gainwright_sim.theory.margins import Margins
from gainwright_sim.theory.random_axis import CONTROL_TICK_S

LARGEST_GAIN_MARGIN_DB = 120.0
"""Stands for no limit at all, which JSON cannot say."""
CHUNK = 10
"""Axes that a worker takes at a time."""


@dataclass(frozen=True, slots=True)
class AxisResult:
    """One axis of a campaign."""

    family: str
    axis_seed: int
    noise_seed: int
    masses: int
    outcome: str
    """A key of :data:`OUTCOMES`."""
    reason: str
    """The trial's ``end_reason``, else the row that decided the end, or what was refused."""
    violations: tuple[str, ...] = ()
    exact_limit: float | None = None
    """None: there is none, or it is far below the start gain."""
    exact_frequency_hz: float | None = None
    limit: float | None = None
    """First gain at which onset was reported."""
    limit_rung: int | None = None
    highest_gain: float | None = None
    """That the trial applied."""
    result: float | None = None
    limit_share: float | None = None
    """Limit found / exact limit."""
    result_share: float | None = None
    """Result / exact limit."""
    integral_limit_share: float | None = None
    """As limit_share and result_share, of the later stages of a trial that has them."""
    integral_result_share: float | None = None
    position_result_share: float | None = None
    position_ended_by: str | None = None
    gain_margin_db: float | None = None
    """Exact margins with all results; None without a stable result."""
    phase_margin_deg: float | None = None
    peak_sensitivity: float | None = None
    oscillation_of_limit: float | None = None
    """Largest torque oscillation, of the torque limit; None if the axis was refused."""
    machine_time_s: float | None = None
    agreed: bool = False
    """Whether the trial ended its search by predictions that agreed."""
    predicted_share: float | None = None
    """Predicted / exact limit, where they agreed."""
    exact_margins: Margins | None = None
    """Of the result."""

    @property
    def wrong(self) -> bool:
        """Whether the trial says "verified" of a gain that theory knows to be too high."""
        return OUTCOMES[self.outcome].wrong

    @property
    def replay(self) -> str:
        """The options by which ``gainwright rehearse`` repeats this axis."""
        return f"--family {self.family} --axis-seed {self.axis_seed} --seed {self.noise_seed}"


class Benches:
    """One bench for each control tick, since times of the trial may be compiled in."""

    def __init__(self, trial: Trial, asked: tuple[str, ...] = ()) -> None:
        self._trial, self._asked = trial, asked
        self._benches: dict[float, Bench] = {}

    def of(self, control_tick_s: float) -> Bench:
        """Return the bench of a control tick; the same C whatever is mounted on it later."""
        if control_tick_s not in self._benches:
            anything = sample(OWN, 0)
            drive = replace(anything.drive, control_tick_s=control_tick_s)
            machine = replace(anything, drive=drive)
            self._benches[control_tick_s] = Bench(
                self._trial, machine, changeable=True, asked=self._asked
            )
        return self._benches[control_tick_s]

    def mounted(self, machine: Machine) -> Bench:
        """Return a bench with this machine on it; InputError if the trial does not fit it."""
        bench = self.of(machine.drive.control_tick_s)
        bench.mount(machine)
        return bench


def run_axes(
    trial: Trial,
    axis_seeds: Iterable[int],
    noise_offset: int = 0,
    workers: int = 1,
    progress: Callable[[int], None] = lambda done: None,
    family: Family = OWN,
    asked: tuple[str, ...] = (),
) -> list[AxisResult]:
    """Rehearse a trial on the random axis of each seed, in the order of the seeds.

    Args:
        trial: its first stage is compared with theory.
        axis_seeds: of :func:`sample`.
        noise_offset: added to the axis seed to give the seed of the torque noise.
        workers: processes to share the work.
        progress: told how many axes are done.
        family: that the axes are drawn from.
        asked: inputs by which the operator asks for something, all the time.
    """
    seeds = list(axis_seeds)
    # Compiled before the workers start, which then find everything in the cache.
    benches = Benches(trial, asked)
    for tick_s in family.control_tick_s or (CONTROL_TICK_S,):
        benches.of(tick_s)
    chunks = [seeds[k : k + CHUNK] for k in range(0, len(seeds), CHUNK)]
    results: list[AxisResult] = []
    for part in share_out(partial(run_chunk, trial, family, noise_offset, asked), chunks, workers):
        results += part
        progress(len(results))
    return results


def run_chunk(
    trial: Trial,
    family: Family,
    noise_offset: int,
    asked: tuple[str, ...],
    axis_seeds: list[int],
) -> list[AxisResult]:
    """Rehearse a few axes on the same benches."""
    benches = Benches(trial, asked)
    return [_run(benches, family, seed, seed + noise_offset) for seed in axis_seeds]


def _run(benches: Benches, family: Family, axis_seed: int, noise_seed: int) -> AxisResult:
    machine = sample(family, axis_seed)
    known = {
        "family": family.name,
        "axis_seed": axis_seed,
        "noise_seed": noise_seed,
        "masses": machine.chain.mass_count,
    }
    try:
        bench = benches.mounted(machine)
    except InputError as error:
        return AxisResult(**known, outcome="refused", reason=error.problems[0].place)
    rehearsal = rehearse(bench, noise_seed)
    summary = summarise(rehearsal)
    stage, theory = summary.stages[0], summary.stages[0].theory
    prediction = stage.prediction
    agreed = prediction is not None and prediction.agreed
    by_load = summary.load_limit if OUTCOMES[summary.outcome].has_result else None
    return AxisResult(
        **known,
        outcome=summary.outcome,
        reason=_reason(summary),
        violations=tuple(violation["requirement_id"] for violation in summary.violations),
        exact_limit=theory and theory.limit,
        exact_frequency_hz=theory and theory.frequency_hz,
        limit=stage.limit,
        limit_rung=stage.onset_rung,
        highest_gain=bench.tables[0].gains[int(rehearsal.output(bench.trial.stages[0].rung).max())],
        result=stage.result,
        limit_share=theory and theory.limit_share,
        result_share=theory and theory.result_share,
        **_later_stages(summary),
        oscillation_of_limit=summary.torque_oscillation_max_of_limit,
        machine_time_s=summary.machine_time_s,
        agreed=agreed or by_load is not None,
        predicted_share=by_load.exact_share
        if by_load is not None
        else (prediction.predicted_share if agreed and prediction else None),
        # Margins at the torque command say little of a loop over the load: its limit does.
        exact_margins=summary.margins if by_load is None else None,
    )


def _later_stages(summary: Summary) -> dict[str, float | str | None]:
    """Return what the later stages found, and the exact margins of all results together."""
    stages = {stage.stage: stage for stage in summary.stages}
    integral, position = stages.get("integral_rate"), stages.get("position_gain")
    found: dict[str, float | str | None] = {}
    if integral is not None and integral.theory is not None:
        found["integral_limit_share"] = integral.theory.limit_share
        found["integral_result_share"] = integral.theory.result_share
    if position is not None and position.theory is not None:
        found["position_result_share"] = position.theory.result_share
        found["position_ended_by"] = position.ended_by
    if summary.margins is not None:
        limit_db = summary.margins.gain_db
        found["gain_margin_db"] = LARGEST_GAIN_MARGIN_DB if limit_db is None else limit_db
        found["phase_margin_deg"] = summary.margins.phase_deg
        found["peak_sensitivity"] = summary.margins.peak_sensitivity
    return found


def _reason(summary: Summary) -> str:
    if summary.ending is not None:
        return summary.ending.reason or summary.ending.row
    return ", ".join(violation["requirement_id"] for violation in summary.violations)
