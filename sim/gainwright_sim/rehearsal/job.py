"""A job: trials one after the other on one axis, each from the results of those before.

A sequence, and not one trial with all stages: the position loop changes its sensor between them,
each trial is proved by itself (the states of two multiply, those of a sequence add up), each ends
at standstill behind its brake, and a later one that gives up leaves the earlier results as they
are. Whatever a person does between two trials, such as closing the loop over the load in the
drive, has its place there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from gainwright_sim.machine.model import Machine, start_settings
from gainwright_sim.machine.situations import machine_at
from gainwright_sim.rehearsal.outcome import OUTCOMES
from gainwright_sim.rehearsal.summary import Elsewhere, StageSummary, Summary, at_place
from gainwright_sim.rehearsal.words import headline, line, place_lines, stage_words

AS_DESCRIBED = "as described"


@dataclass(frozen=True, slots=True)
class Job:
    """What a sequence of trials found in one place."""

    machine: str
    trials: tuple[str, ...]
    """All that were asked for; the first that ends without a result is the last that runs."""
    parts: tuple[Summary, ...]
    places: tuple[Elsewhere, ...]
    """Exact margins with all that was found, as described and in each situation; the share of a
    limit is with what was held when that gain was found. Empty without a result of every trial."""

    @property
    def complete(self) -> bool:
        """Whether every trial ended with a result."""
        return len(self.parts) == len(self.trials) and all(map(has_result, self.parts))

    @property
    def machine_time_s(self) -> float:
        return sum(part.machine_time_s for part in self.parts)

    @property
    def exit_code(self) -> int:
        """The worst of all trials, and 1 if the whole is not stable at some place."""
        codes = [OUTCOMES[part.outcome].exit_code for part in self.parts]
        return max([*codes, *(int(place.margins is None) for place in self.places)])

    def as_json(self) -> dict[str, Any]:
        """Return plain data for :func:`json.dumps`: keys of a summary, and ``parts`` of a job.

        So what reads the record of one rehearsal reads that of a job too.
        """
        last = self.parts[-1]
        whole = last.as_json() | {
            "trial": ", ".join(self.trials),
            "stages": [asdict(stage) for part in self.parts for stage in part.stages],
            "margins": next((asdict(p.margins) for p in self.places[:1] if p.margins), None),
            "elsewhere": [asdict(place) for place in self.places[1:]],
            "machine_time_s": self.machine_time_s,
            "torque_oscillation_max_per_unit": max(
                part.torque_oscillation_max_per_unit for part in self.parts
            ),
            "torque_oscillation_max_of_limit": max(
                part.torque_oscillation_max_of_limit for part in self.parts
            ),
            "trial_digest": " ".join(part.trial_digest for part in self.parts),
            "machine_digest": self.parts[0].machine_digest,
        }
        return {
            **whole,
            "complete": self.complete,
            "parts": [part.as_json() for part in self.parts],
        }

    def lines(self) -> Iterator[str]:
        """Yield one summary of all trials, in words."""
        yield f"{self.machine}, {', then '.join(self.trials)}:"
        for part in self.parts:
            yield f"  {part.trial}: {headline(part.outcome)}"
            if part.ending is not None and part.ending.reason is not None:
                yield line("why it ended", f"{part.ending.words} ({part.ending.reason})")
                if part.ending.remedy and not has_result(part):
                    yield line("remedy", part.ending.remedy)
            for stage in part.stages:
                yield line(stage.stage.replace("_", " "), _found(part, stage))
        for name in self.trials[len(self.parts) :]:
            yield f"  {name}: not begun, since the trial before it has no result"
        yield from self._details()
        times = ", ".join(f"{part.trial} {part.machine_time_s:.1f} s" for part in self.parts)
        yield line("machine time", f"{self.machine_time_s:.1f} s in all: {times}")

    def _details(self) -> Iterator[str]:
        settings = dict.fromkeys(words for part in self.parts for words in part.settings)
        for number, words in enumerate(settings):
            yield line("settings" if number == 0 else "", words)
        for part in self.parts:
            if part.profile is not None:
                yield line("whole moves", part.profile.in_words())
        last = self.parts[-1]
        if last.load_swing is not None:
            yield line("load", last.load_swing.in_words())
        for number, words in enumerate(place_lines(self.places)):
            yield line("exact margins" if number == 0 else "", words)


def has_result(part: Summary) -> bool:
    """Whether a trial gave gains that another one may begin from."""
    outcome = OUTCOMES[part.outcome]
    return outcome.has_result and not outcome.wrong


def job_of(machine: Machine, trials: Sequence[str], parts: Sequence[Summary]) -> Job:
    """Return what the trials that ran have found together.

    Args:
        machine: as it was before the first of them.
        trials: names of all that were asked for.
        parts: of those that ran, in order.
    """
    places = ()
    if len(parts) == len(trials) and all(map(has_result, parts)):
        names = (AS_DESCRIBED, *(place.name for place in machine.situations))
        places = tuple(_place(machine, name, parts) for name in names)
    return Job(machine.name, tuple(trials), tuple(parts), places)


def _place(machine: Machine, name: str, parts: Sequence[Summary]) -> Elsewhere:
    there = machine if name == AS_DESCRIBED else machine_at(machine, name)
    settings, shares = start_settings(machine), dict[str, float | None]()
    for part in parts:
        found = results(part)
        settings |= found
        place = at_place(name, there, settings, {stage: stage for stage in found})
        shares |= place.result_shares
    return Elsewhere(name, place.margins, shares)


def results(part: Summary) -> dict[str, float]:
    """Return what each stage of a trial chose, by the name of the setting."""
    return {stage.stage: stage.result for stage in part.stages if stage.result is not None}


def _found(part: Summary, stage: StageSummary) -> str:
    if stage.result is None:
        return "no result"
    words = f"{stage.result:.4g} {stage.unit}; {stage_words(stage)}"
    if stage.ended_by == "decay" and part.load_limit is not None:
        words = f"{stage.result:.4g} {stage.unit}; limit {part.load_limit.in_words()}"
    return words
