"""One trial at every position and with every payload of a machine: what is chosen for all of them.

Of each gain the smallest result is chosen. That is no proof that it suits everywhere, since the
gains meet there for the first time: so exact theory tells the margins of all of them together at
each place.

A trial that asks for it (input ``limit_elsewhere``) is told at which rung each search has ended so
far, the lowest of all places, and climbs faster up to a stated distance below that.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from gainwright.errors import input_error
from gainwright_sim.machine.digest import machine_digest
from gainwright_sim.machine.model import Machine, start_settings
from gainwright_sim.machine.situations import machine_at
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.outcome import OUTCOMES
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.summary import Elsewhere, Summary, at_place, summarise
from gainwright_sim.rehearsal.words import place_lines

AS_DESCRIBED = "as described"


@dataclass(frozen=True, slots=True)
class Chosen:
    """The value of one setting that is used everywhere."""

    setting: str
    unit: str
    value: float
    situation: str
    """Where it was the smallest."""
    largest: float
    """The largest result of all situations."""


@dataclass(frozen=True, slots=True)
class Everywhere:
    """What a trial found at each place."""

    trial: str
    machine: str
    seed: int
    places: tuple[tuple[str, Summary], ...]
    chosen: tuple[Chosen, ...]
    """Empty where a trial ended without a result somewhere."""
    margins: tuple[Elsewhere, ...]
    """Exact ones of the linear loop with what was chosen, at each place; empty without a choice."""
    trial_digest: str
    machine_digest: str
    """With its situations, and the settings that all places started from."""
    positions_m: tuple[float | None, ...] = ()
    """Of each place; None where the description gives payloads only."""

    @property
    def schedule(self) -> dict[str, list[tuple[float, float]]]:
        """Return for each stage the smallest result of all payloads at each position in m.

        Empty without a choice, or with fewer than two positions.
        """
        positions = sorted({place for place in self.positions_m if place is not None})
        if not self.chosen or len(positions) < 2:
            return {}
        found = {chosen.setting: dict[float, float]() for chosen in self.chosen}
        for (_, summary), place in zip(self.places, self.positions_m, strict=True):
            for stage in summary.stages:
                if place is not None and stage.result is not None:
                    least = found[stage.stage].get(place, math.inf)
                    found[stage.stage][place] = min(least, stage.result)
        return {name: sorted(points.items()) for name, points in found.items()}

    @property
    def exit_code(self) -> int:
        """0 if every place has a result and the choice is stable in all; else the worst one's."""
        codes = [OUTCOMES[summary.outcome].exit_code for _, summary in self.places]
        return max([*codes, *(int(place.margins is None) for place in self.margins)])

    @property
    def results(self) -> dict[str, float]:
        """Return what was chosen, by the name of the setting."""
        return {chosen.setting: chosen.value for chosen in self.chosen}

    @property
    def machine_time_s(self) -> float:
        return sum(summary.machine_time_s for _, summary in self.places)

    def as_json(self) -> dict[str, Any]:
        """Return plain data for :func:`json.dumps`."""
        return {
            "trial": self.trial,
            "machine": self.machine,
            "seed": self.seed,
            "situations": [
                {"situation": name, **summary.as_json()} for name, summary in self.places
            ],
            "chosen": [asdict(chosen) for chosen in self.chosen],
            "margins": [asdict(place) for place in self.margins],
            "schedule": {
                name: [{"position_m": place, "gain": gain} for place, gain in points]
                for name, points in self.schedule.items()
            },
            "trial_digest": self.trial_digest,
            "machine_digest": self.machine_digest,
        }

    def lines(self) -> Iterator[str]:
        """Yield the result in words."""
        yield f"{self.machine}, trial {self.trial}, at every position and payload described:"
        for name, summary in self.places:
            found = ", ".join(
                f"{stage.stage} {stage.result:.4g} {stage.unit}"
                for stage in summary.stages
                if stage.result is not None
            )
            why = summary.ending.reason if summary.ending is not None else None
            yield f"  {name}: {summary.outcome}; {found or why or 'no result'}"
        if not self.chosen:
            yield "  chosen: nothing, since not every place has a result"
        for chosen in self.chosen:
            yield (
                f"  chosen: {chosen.setting} {chosen.value:.4g} {chosen.unit}, the smallest "
                f"({chosen.situation}; the largest is {chosen.largest:.4g})"
            )
        for name, points in self.schedule.items():
            steps = ", ".join(f"{gain:.4g} at {place:g} m" for place, gain in points)
            yield f"  {name} over the position: {steps}"
        for line in place_lines(self.margins):
            yield f"  exact margins with these, {line}"


def places_of(machine: Machine) -> list[tuple[str, Machine]]:
    """Return the machine as described and in each situation; InputError if there is none."""
    if not machine.situations:
        raise input_error(
            machine.name, "", "a machine without other positions or payloads",
            "mechanics.positions_m or mechanics.load_mass_range_kg in its description",
            "add them, or leave --everywhere out",
        )  # fmt: skip
    places = [(AS_DESCRIBED, dataclasses.replace(machine, situations=()))]
    places += [(place.name, machine_at(machine, place.name)) for place in machine.situations]
    return places


def rehearse_everywhere(
    bench: Bench,
    machine: Machine,
    places: list[tuple[str, Machine]],
    seed: int,
    tell: Callable[[str], None] = lambda _: None,
) -> Everywhere:
    """Rehearse the bench's trial at each place of :func:`places_of`.

    Args:
        bench: changeable.
        machine: with its situations.
        places: names and machines.
        seed: of the torque noise, the same everywhere.
        tell: called with the name of each place before its turn.

    Raises:
        InputError: the trial does not fit a place.
    """
    found, limits = list[tuple[str, Summary]](), dict[str, int]()
    for name, there in places:
        tell(name)
        bench.mount(there)
        found.append((name, summarise(rehearse(bench, seed, limits_elsewhere=limits))))
        limits = _lowest(limits, found[-1][1], bench)
    chosen = _choose(found)
    settings = start_settings(machine) | {one.setting: one.value for one in chosen}
    tuned = {one.setting: one.setting for one in chosen}
    return Everywhere(
        trial=bench.trial.name,
        machine=machine.name,
        seed=seed,
        places=tuple(found),
        chosen=chosen,
        margins=tuple(at_place(name, there, settings, tuned) for name, there in places)
        if chosen
        else (),
        trial_digest=bench.trial.digest,
        machine_digest=machine_digest(machine),
        positions_m=positions_of(machine, [name for name, _ in places]),
    )


def _lowest(limits: Mapping[str, int], summary: Summary, bench: Bench) -> dict[str, int]:
    """Return by stage the lowest rung at which its search has ended so far."""
    lowest = dict(limits)
    for table, stage in zip(bench.tables, summary.stages, strict=True):
        if stage.ended_at is not None:
            rung = table.gains.index(stage.ended_at)
            lowest[stage.stage] = min(rung, lowest.get(stage.stage, rung))
    return lowest


def positions_of(machine: Machine, names: list[str]) -> tuple[float | None, ...]:
    """Return where each place is; as described is at 0 m if others have positions."""
    known = {place.name: place.position_m for place in machine.situations}
    here = 0.0 if any(place is not None for place in known.values()) else None
    return tuple(known.get(name, here) for name in names)


def _choose(found: list[tuple[str, Summary]]) -> tuple[Chosen, ...]:
    if any(stage.result is None for _, summary in found for stage in summary.stages):
        return ()
    chosen = list[Chosen]()
    for number, stage in enumerate(found[0][1].stages):
        results = [(summary.stages[number].result or 0.0, name) for name, summary in found]
        value, where = min(results, key=lambda pair: pair[0])
        chosen.append(Chosen(stage.stage, stage.unit, value, where, max(results)[0]))
    return tuple(chosen)
