"""Rehearses on random axes of which each breaks in some way at some moment, and nobody says so."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from random import Random

import numpy as np

from gainwright.errors import InputError
from gainwright.language.model import Trial
from gainwright_sim.campaign.families import Family
from gainwright_sim.campaign.run import CHUNK, Benches
from gainwright_sim.campaign.sampling import sample
from gainwright_sim.campaign.workers import share_out
from gainwright_sim.machine import Machine
from gainwright_sim.rehearsal.outcome import HIGHEST_RESULT_SHARE, OUTCOMES
from gainwright_sim.rehearsal.rehearse import Rehearsal, rehearse
from gainwright_sim.rehearsal.summary import summarise
from gainwright_sim.rig.faults import (
    FAULT_KINDS,
    FaultKind,
    RigFault,
)

LATEST_S = 25.0
"""Faults come from the start to so late, all moments alike."""
GRACE_S = 2.0
"""A fault that comes less than this before a result may find the gain verified already."""


@dataclass(frozen=True, slots=True)
class BrokenAxis:
    """One axis that broke, and how its trial ended."""

    family: str
    axis_seed: int
    noise_seed: int
    kind: str
    fault_s: float
    outcome: str
    reason: str
    decided_s: float | None
    """When the end was decided; None without an end, or where the axis was refused."""
    stopped_after_s: float | None = None
    """From the fault until torque was withdrawn or a controlled stop asked for; None if that came
    before, or never."""
    result_share: float | None = None
    """Of the exact limit of the sound axis; None without a result, or a known limit."""

    @property
    def met(self) -> bool:
        """Whether the fault came before the decision, a result's by some time."""
        if self.decided_s is None:
            return False
        grace_s = GRACE_S if OUTCOMES[self.outcome].has_result else 0.0
        return self.fault_s <= self.decided_s - grace_s

    @property
    def wrong(self) -> bool:
        """Whether a gain was verified although the loop had long been broken, or is too high."""
        outcome, kind = OUTCOMES[self.outcome], FAULT_KINDS[self.kind]
        high = (self.result_share or 0.0) * kind.loop_gain > HIGHEST_RESULT_SHARE
        bad = outcome.wrong or high or not kind.loop_stays_whole
        return outcome.has_result and self.met and bad

    @property
    def replay(self) -> str:
        """The options by which ``gainwright rehearse`` repeats this axis."""
        return (
            f"--family {self.family} --axis-seed {self.axis_seed} --seed {self.noise_seed} "
            f"--fault {self.kind}@{self.fault_s:g}"
        )


def run_broken(
    trial: Trial,
    axis_seeds: Iterable[int],
    noise_offset: int,
    workers: int,
    progress: Callable[[int], None],
    family: Family,
) -> list[BrokenAxis]:
    """Rehearse a trial on the random axis of each seed, which breaks; in the order of the seeds.

    Arguments as of :func:`gainwright_sim.campaign.run.run_axes`. Kind and moment of the fault are
    drawn from the seed.
    """
    seeds, results = list(axis_seeds), list[BrokenAxis]()
    chunks = [seeds[k : k + CHUNK] for k in range(0, len(seeds), CHUNK)]
    for part in share_out(partial(_chunk, trial, family, noise_offset), chunks, workers):
        results += part
        progress(len(results))
    return results


def drawn_fault(machine: Machine, axis_seed: int, trial: Trial) -> RigFault:
    """Return what breaks on an axis, and when."""
    random = Random(f"fault {axis_seed}")
    kind = random.choice([k.name for k in FAULT_KINDS.values() if _may_meet(machine, trial, k)])
    return RigFault(kind, round(1000.0 * LATEST_S * random.random()) * 1000 // trial.tick_us)


def _may_meet(machine: Machine, trial: Trial, kind: FaultKind) -> bool:
    has_input = kind.input is None or kind.input in trial.index.inputs
    return has_input and (machine.load_sensor is not None or not kind.at_the_load)


def _chunk(
    trial: Trial, family: Family, noise_offset: int, axis_seeds: list[int]
) -> list[BrokenAxis]:
    benches = Benches(trial)
    return [_run(benches, trial, family, seed, seed + noise_offset) for seed in axis_seeds]


def _run(
    benches: Benches, trial: Trial, family: Family, axis_seed: int, noise_seed: int
) -> BrokenAxis:
    machine = sample(family, axis_seed)
    fault = drawn_fault(machine, axis_seed, trial)
    known = (family.name, axis_seed, noise_seed, fault.kind, fault.start * trial.tick_us * 1e-6)
    try:
        bench = benches.mounted(machine)
    except InputError as error:
        return BrokenAxis(*known, "refused", error.problems[0].place, None)
    rehearsal = rehearse(bench, noise_seed, fault=fault)
    summary = summarise(rehearsal)
    ending = summary.ending
    reason = "" if ending is None else ending.reason or ending.row
    decided_s = None if ending is None else ending.time_s
    theory = summary.stages[0].theory
    return BrokenAxis(
        *known, summary.outcome, reason, decided_s, _stopped_after_s(rehearsal),
        None if theory is None else theory.result_share,
    )  # fmt: skip


def _stopped_after_s(rehearsal: Rehearsal) -> float | None:
    moving = (rehearsal.output("torque_request") != 0) & (rehearsal.output("motion_enable") != 0)
    start = rehearsal.fault.start
    if start >= len(moving) or not moving[max(start - 1, 0)]:
        return None
    still = np.flatnonzero(~moving[start:])
    tick_s = rehearsal.trial.tick_us * 1e-6
    return round((int(still[0]) + 1) * tick_s, 6) if len(still) else None


_WIDTHS = (18, 6, 12, 9, 10, 8, 14)


def _columns(words: Iterable[str]) -> str:
    return "".join(f"{word:>{width}}" for word, width in zip(words, _WIDTHS[1:], strict=True))


_HEAD = tuple(
    f"{words[0]:<{_WIDTHS[0]}}" + _columns(words[1:])
    for words in (
        ("what broke", "axes", "torque off", "stopped", "verified", "ended", "stop asked"),
        ("", "", "at once", "", "all same", "before", "after [s]"),
    )
)


def broken_lines(results: Sequence[BrokenAxis], trial_option: str = "") -> Iterator[str]:
    """Yield the report: what is wrong first, then what was made of each kind of fault."""
    wrong = [result for result in results if result.wrong]
    if wrong:
        yield f"WRONG on {len(wrong)} of {len(results)} axes: verified although the loop was broken"
        for result in wrong:
            yield f"  {result.family} axis {result.axis_seed}: {FAULT_KINDS[result.kind].words}"
            yield f"    gainwright rehearse {result.replay}{trial_option}"
        yield ""
    yield from _HEAD
    for kind in FAULT_KINDS:
        of_kind = [result for result in results if result.kind == kind]
        if of_kind:
            yield _row(kind, of_kind)
    yield ""
    met = sum(result.met for result in results)
    yield f"Wrongly verified: {len(wrong)} of {met} axes whose trial met the fault."
    if any(FAULT_KINDS[result.kind].loop_stays_whole for result in results):
        yield (
            "Where the loop can be judged all the same (no test pulse, but strong noise; an "
            "encoder that\npaused, jumped or counts twice; a weak motor) a result is right as "
            "long as exact theory agrees."
        )


def _row(kind: str, results: Sequence[BrokenAxis]) -> str:
    met = [result for result in results if result.met]
    at_once = sum(result.outcome == "fault_latched" for result in met)
    verified = sum(OUTCOMES[result.outcome].has_result for result in met)
    waits = [result.stopped_after_s for result in met if result.stopped_after_s is not None]
    numbers = (
        len(results),
        at_once,
        len(met) - at_once - verified,
        verified,
        len(results) - len(met),
    )
    words = (*(str(number) for number in numbers), f"{max(waits):.3f}" if waits else "-")
    return f"{kind:<{_WIDTHS[0]}}" + _columns(words)
