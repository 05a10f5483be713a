"""The same rehearsal with other noise: how far limits and results spread, in rungs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.summary import StageSummary, Summary, summarise


@dataclass(frozen=True, slots=True)
class StageSpread:
    """One stage over all repeats; rungs are sorted, one per repeat that has one."""

    stage: str
    ended_by: dict[str, int]
    """What ended the search, and how often."""
    limit_rungs: tuple[int, ...]
    result_rungs: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Spread:
    seeds: tuple[int, ...]
    outcomes: dict[str, int]
    stages: tuple[StageSpread, ...]

    def as_json(self) -> dict[str, Any]:
        """Return plain data for :func:`json.dumps`."""
        return asdict(self)

    def lines(self) -> Iterator[str]:
        """Yield the spread in words."""
        outcomes = ", ".join(f"{n} {key.replace('_', ' ')}" for key, n in self.outcomes.items())
        yield f"Repeated with seeds {self.seeds[0]} to {self.seeds[-1]}: {outcomes}."
        for stage in self.stages:
            if not stage.limit_rungs:
                yield f"  {stage.stage}: no limit"
                continue
            ways = ", ".join(f"{way.replace('_', ' ')} {n}" for way, n in stage.ended_by.items())
            low, high = stage.limit_rungs[0], stage.limit_rungs[-1]
            yield (
                f"  {stage.stage}: search ended at rungs {low} to {high}, a spread of {high - low} "
                f"({ways}); result {_range(stage.result_rungs)}"
            )


def _range(rungs: Sequence[int]) -> str:
    return f"at rungs {rungs[0]} to {rungs[-1]}" if rungs else "none"


def repeat(bench: Bench, first: Summary, seeds: Iterable[int]) -> Spread:
    """Rehearse the bench's trial once more with each seed.

    Args:
        bench: with the machine mounted.
        first: of a rehearsal on it, which counts as one of the repeats.
        seeds: of the others.
    """
    summaries = [first, *(summarise(rehearse(bench, seed)) for seed in seeds)]
    return Spread(
        seeds=tuple(summary.seed for summary in summaries),
        outcomes=_counted(summary.outcome for summary in summaries),
        stages=tuple(
            _stage(bench.tables[number].gains, [summary.stages[number] for summary in summaries])
            for number in range(len(bench.tables))
        ),
    )


def _stage(gains: Sequence[float], stages: Sequence[StageSummary]) -> StageSpread:
    return StageSpread(
        stage=stages[0].stage,
        ended_by=_counted(stage.ended_by for stage in stages if stage.ended_by is not None),
        limit_rungs=_rungs(gains, (stage.ended_at for stage in stages)),
        result_rungs=_rungs(gains, (stage.result for stage in stages)),
    )


def _rungs(gains: Sequence[float], values: Iterable[float | None]) -> tuple[int, ...]:
    return tuple(sorted(gains.index(value) for value in values if value is not None))


def _counted(names: Iterable[str]) -> dict[str, int]:
    return dict(sorted(Counter(names).items(), key=lambda item: (-item[1], item[0])))
