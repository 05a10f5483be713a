"""How often is onset reported on axes that cannot oscillate?

``python -m gainwright_sim.benchmark.quiet_machines --count 10000`` rehearses the shipped trial with
a short gain ladder that ends below the exact stability limit of each random axis, by default of the
family ``disturbed``. Whatever friction, encoder steps, noise, disturbances and resonances do, every
report of onset is then a false one. (A search that ends as limited by noise is no onset.)
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import sys
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from gainwright.errors import InputError
from gainwright.language.load import trial_from_document
from gainwright.language.model import Trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.campaign.families import FAMILIES, Family
from gainwright_sim.campaign.report import rate_bound
from gainwright_sim.campaign.run import Benches
from gainwright_sim.campaign.sampling import sample, with_start_gain
from gainwright_sim.campaign.workers import share_out
from gainwright_sim.machine import Machine
from gainwright_sim.rehearsal.outcome import ended_as
from gainwright_sim.rehearsal.rehearse import Rehearsal, rehearse
from gainwright_sim.theory.stages import SPEED_GAIN

RUNGS = 40
TOP_SHARE = 0.8
"""Gain of the highest rung, as a share of the exact limit."""
CHUNK = 50
"""Axes that a worker takes at a time."""


@dataclass(frozen=True, slots=True)
class QuietResult:
    """What happened on one axis; its seed is that of the axis and of the noise."""

    seed: int
    outcome: str
    """A key of :data:`OUTCOMES`."""
    onset_rung: int | None
    machine_time_s: float


def short_ladder_trial(rungs: int = RUNGS) -> Trial:
    """Return the shipped trial with fewer rungs."""
    document = tomllib.loads(shipped_trial_path().read_text(encoding="utf-8"))
    document["constants"]["top_rung"]["value"] = rungs - 1
    return trial_from_document(document, f"standard with {rungs} rungs")


def quiet_axis(
    family: Family, seed: int, trial: Trial, top_share: float = TOP_SHARE
) -> Machine | None:
    """Return the random axis of a seed with a start gain by which the ladder ends in safety.

    None if the axis has no limit that theory finds.
    """
    machine = sample(family, seed)
    limit = SPEED_GAIN.limit(machine).gain
    if not math.isfinite(limit):
        return None
    stage = trial.stages[0]
    start = top_share * limit / stage.ratio ** (stage.rungs - 1)
    return with_start_gain(machine, start, machine.speed_loop.integral_time_s)


def onset_rung(rehearsal: Rehearsal) -> int | None:
    """Return the rung at which onset was first reported."""
    stage = rehearsal.trial.stages[0]
    places = rehearsal.variable(stage.onset).nonzero()[0]
    return int(rehearsal.variable(stage.limit)[places[0]]) if len(places) else None


def run_seeds(family: Family, top_share: float, seeds: Sequence[int]) -> list[QuietResult]:
    """Rehearse the quiet axis of each seed; axes that the trial refuses are left out."""
    trial = short_ladder_trial()
    benches = Benches(trial)
    results = []
    for seed in seeds:
        machine = quiet_axis(family, seed, trial, top_share)
        if machine is None:
            continue
        try:
            bench = benches.mounted(machine)
        except InputError:
            continue
        rehearsal = rehearse(bench, seed)
        rung = onset_rung(rehearsal)
        how = ended_as(rehearsal, rung is not None)
        results.append(QuietResult(seed, how, rung, rehearsal.machine_time_s))
    return results


def run_all(
    family: Family, seeds: Iterable[int], top_share: float, workers: int
) -> Iterator[list[QuietResult]]:
    """Rehearse all seeds in pieces of CHUNK, in order, on so many processes."""
    row = list(seeds)
    chunks = [row[k : k + CHUNK] for k in range(0, len(row), CHUNK)]
    if workers > 1:
        run_seeds(family, top_share, row[:1])  # compiles before the workers look into the cache
    yield from share_out(partial(run_seeds, family, top_share), chunks, workers)


def main() -> int:
    """Run the rehearsals; 1 if there was a false onset, 2 for wrong input."""
    parser = argparse.ArgumentParser(prog="python -m gainwright_sim.benchmark.quiet_machines")
    parser.add_argument("--count", type=_positive, default=200, help="axes (default: 200)")
    parser.add_argument(
        "--family", choices=tuple(FAMILIES), default="disturbed",
        help="of the axes (default: %(default)s)",
    )  # fmt: skip
    parser.add_argument("--seed", type=int, default=0, help="of the first axis (default: 0)")
    parser.add_argument("--workers", type=_positive, default=1, help="processes (default: 1)")
    parser.add_argument(
        "--top-share", type=_share, default=TOP_SHARE,
        help="gain of the highest rung as a share of the exact limit (default: %(default)s)",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print the result as JSON")
    options = parser.parse_args()
    seeds = range(options.seed, options.seed + options.count)
    results: list[QuietResult] = []
    try:
        family = FAMILIES[options.family]
        for part in run_all(family, seeds, options.top_share, options.workers):
            results += part
            print(f"{len(results)} of {options.count}", end="\r", file=sys.stderr, flush=True)
    except InputError as error:
        print(f"gainwright: {error}", file=sys.stderr)
        return 2
    print(file=sys.stderr)
    _report(results, options)
    return 1 if any(result.onset_rung is not None for result in results) else 0


def _positive(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"found {text!r}, expected a whole number above 0")
    return int(text)


def _share(text: str) -> float:
    try:
        share = float(text)
    except ValueError:
        share = math.nan
    if not 0.0 < share < 10.0:
        raise argparse.ArgumentTypeError(f"found {text!r}, expected a number between 0 and 10")
    return share


def _report(results: Sequence[QuietResult], options: argparse.Namespace) -> None:
    false = [result for result in results if result.onset_rung is not None]
    outcomes = Counter(result.outcome for result in results)
    bound = rate_bound(len(false), len(results))
    if options.json:
        summary = {
            "family": options.family,
            "rehearsals": len(results),
            "top_share": options.top_share,
            "false_onsets": [dataclasses.asdict(result) for result in false],
            "outcomes": dict(sorted(outcomes.items())),
            "rate_bound_95": bound,
            "machine_time_s": sum(result.machine_time_s for result in results),
        }
        print(json.dumps(summary, indent=2))
        return
    print(f"family                        {options.family}")
    print(f"rehearsals                    {len(results)}")
    print(f"highest rung / exact limit    {options.top_share}")
    print(f"false onsets                  {len(false)}")
    print(f"upper bound of the rate, 95 % {bound:.2e}")
    for outcome, count in sorted(outcomes.items()):
        print(f"{outcome.replace('_', ' '):<30}{count}")
    for result in false:
        print(f"  seed {result.seed}: onset at rung {result.onset_rung}, {result.outcome}")


if __name__ == "__main__":
    sys.exit(main())
