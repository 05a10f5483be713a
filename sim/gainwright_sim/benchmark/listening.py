"""How well a recording is judged: false onsets on healthy axes, onsets found on growing ones.

``python -m gainwright_sim.benchmark.listening --healthy 560 --growing 320`` makes recordings of
random axes of every family (:mod:`gainwright_sim.benchmark.recorded_axes`) and judges each as
``gainwright listen`` does. A growing one is *found* if onset is reported once the gain is above 0.9
of the exact limit; *early* before that. It is found *in time* if the torque's oscillation was then
at most LARGEST_SHARE of its final amplitude, or no more than ORDINARY times what the axis
ordinarily shows in the band, or not ten periods after the gain passed the limit.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterator

import numpy as np

from gainwright.listening.judging import Verdict
from gainwright.listening.listen import Listening, listen
from gainwright.listening.options import ListenOptions
from gainwright.recording.recording import Recording
from gainwright_codegen.host.detector import CompiledDetector
from gainwright_sim.benchmark.recorded_axes import FAMILIES, RecordedAxis, recorded_axes

LARGEST_SHARE = 0.05
ORDINARY = 3.0
AT_ONCE_PERIODS = 10.0
BATCH = 10
"""Axes that share tick and duration."""
_DATING_S = 0.05
"""An onset is dated by its first block, which may begin this long before the gain is raised."""


def judged(axis: RecordedAxis, with_speed: bool = True) -> Listening:
    """Listen to a made-up recording as to one from a file."""
    recording = Recording(
        f"{axis.family}-{axis.seed}",
        axis.sample_rate_hz,
        axis.torque,
        axis.speed_error,
        "torque",
        "speed_error",
        axis.speed if with_speed else None,
    )
    options = ListenOptions(delay_ticks=axis.delay_ticks)
    return listen(recording, options, lambda s, *words: CompiledDetector(s).run(*words))


def outcome(axis: RecordedAxis, listening: Listening) -> str:
    """Return what the verdict is worth, in one or two words."""
    if axis.near_limit_s is None or axis.beyond_limit_s is None:
        false_onset = listening.verdict is Verdict.ONSET
        return "false onset" if false_onset else listening.verdict.value
    if listening.onset is None:
        return "missed" if listening.verdict is Verdict.QUIET else listening.verdict.value
    onset_s = listening.onset.time_s
    if onset_s < axis.near_limit_s - _DATING_S:
        return "early"
    band = listening.band
    at_once = onset_s - axis.beyond_limit_s < AT_ONCE_PERIODS / band.lowest_oscillation_hz
    share, ordinary = _shares(axis, listening)
    return "in time" if at_once or share <= max(LARGEST_SHARE, ORDINARY * ordinary) else "late"


def _shares(axis: RecordedAxis, listening: Listening) -> tuple[float, float]:
    """Return amplitude at onset, and the ordinary one, as shares of the final amplitude."""
    assert listening.onset is not None and axis.near_limit_s is not None
    band, rate_hz = listening.band, axis.sample_rate_hz
    size = np.abs(listening.torque)
    size[: round(band.settling_s * rate_hz)] = 0.0
    onset = round(listening.onset.time_s * rate_hz)
    at_onset = size[max(0, onset - 2 * band.burst_block_samples) : onset + 1].max()
    ordinary = size[: round(axis.near_limit_s * rate_hz)].max(initial=0.0)
    return float(at_onset / size.max()), float(ordinary / size.max())


def outcomes(count: int, first_seed: int, onset: bool, with_speed: bool) -> Iterator[tuple]:
    """Yield family, seed, number in the batch and outcome, family by family."""
    batches = -(-count // (BATCH * len(FAMILIES)))
    for family in FAMILIES:
        for seed in range(first_seed, first_seed + batches):
            for number, axis in enumerate(recorded_axes(family, seed, BATCH, onset)):
                yield family, seed, number, outcome(axis, judged(axis, with_speed))


def _report(count: int, seed: int, onset: bool, with_speed: bool) -> dict[str, dict[str, int]]:
    table: dict[str, Counter[str]] = {}
    for family, batch, number, found in outcomes(count, seed, onset, with_speed):
        table.setdefault(family, Counter())[found] += 1
        if found in ("false onset", "missed", "early", "late"):
            print(f"{family} seed {batch} number {number}: {found}", file=sys.stderr)
    total = sum(table.values(), Counter())
    return {name: dict(sorted(row.items())) for name, row in (*table.items(), ("all", total))}


def main() -> int:
    """Print both tables as JSON; 1 if a healthy axis was called onset."""
    parser = argparse.ArgumentParser(
        prog="python -m gainwright_sim.benchmark.listening",
        description="Judge made-up recordings of healthy axes and of axes beyond their limit.",
    )
    parser.add_argument("--healthy", type=int, default=560, help="recordings (default: 560)")
    parser.add_argument("--growing", type=int, default=320, help="recordings (default: 320)")
    parser.add_argument("--seed", type=int, default=1000, help="first seed (default: 1000)")
    parser.add_argument("--no-speed", action="store_true", help="leave the speed channel out")
    words = parser.parse_args()
    tables = {
        name: _report(count, words.seed, onset, not words.no_speed)
        for name, count, onset in (("healthy", words.healthy, False),
                                   ("growing", words.growing, True))
        if count > 0
    }  # fmt: skip
    print(json.dumps({"seed": words.seed, "with_speed": not words.no_speed, **tables}, indent=2))
    return 1 if tables.get("healthy", {}).get("all", {}).get("false onset") else 0


if __name__ == "__main__":
    sys.exit(main())
