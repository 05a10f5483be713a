"""States per second: this explorer and ``spin``'s compiled verifier, on the same machine.

Run ``python -m gainwright_proof.exploration.benchmark``; ``--full`` takes the shipped trial as it
is (many minutes of ``spin``), otherwise with shorter times and ladder. Both judge the same
requirements on the same inputs, on one processor core, and must count the same states. Processor
time is measured, without compilation. The verifier is compiled for its fastest exhaustive search,
see :data:`gainwright_proof.second_checker.spin.FLAGS`.

The explorer is measured twice: keeping every state, as ``spin`` does, and with waits folded, as
``prove`` does. Inputs are those that behave differently, which the explorer finds out; where that
is not too much, ``spin`` is also offered every valuation of the conditions.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.model import Trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.exploration.encoding import encoding_of
from gainwright_proof.exploration.engine import Engine, Figures, Result
from gainwright_proof.exploration.shortened import shortened_trial
from gainwright_proof.exploration.vectors import StateVectors, vectors_by_state
from gainwright_proof.remembered import nothing_remembered
from gainwright_proof.second_checker.promela import Offer, promela_model
from gainwright_proof.second_checker.spin import SpinError, SpinResult, spin_version, verify

_DIVISOR = 5
_MOST_NODES = 100_000_000
_MOST_VECTORS = 1 << 19
_MOST_VALUATIONS = 1 << 12
"""Of one state, for ``spin`` to try: its model has a line for each."""
_STEPS_PER_STATE = 4
"""Steps of the model for one tick, for the longest path of a depth-first search."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Both searches of one trial."""

    trial: str
    figures: Figures
    seconds: float
    """Of our search that keeps every state, processor time, the best of several runs."""
    folded_seconds: float
    """The same, with waits folded."""
    spin: SpinResult | None
    """Every valuation offered; None if ``spin`` is not installed, or if they are too many."""
    spin_reduced: SpinResult | None
    """Only distinct ones offered, see :class:`gainwright_proof.second_checker.promela.Offer`."""

    @property
    def states_per_second(self) -> float:
        return self.figures.nodes / self.seconds

    @property
    def folded_states_per_second(self) -> float:
        return self.figures.nodes / self.folded_seconds

    def ratio(self, spin: SpinResult | None) -> float | None:
        """How many times as many states per second we visit; None if that was not measured."""
        theirs = _rate(spin)
        return None if theirs is None else self.states_per_second / theirs


def _rate(spin: SpinResult | None) -> float | None:
    return None if spin is None or spin.seconds == 0.0 else spin.stored_states / spin.seconds


def compare(trial: Trial, repeats: int = 3) -> Comparison:
    """Search a trial with both; raises SpinError or InputError if one of them cannot run."""
    vectors = vectors_by_state(trial, _MOST_VECTORS)
    figures, seconds = _ours(trial, vectors, repeats, folds=False)
    folded, folded_seconds = _ours(trial, vectors, repeats, folds=True)
    if folded.nodes != figures.nodes:
        raise SpinError(f"folded waits count {folded.nodes:,} states, not {figures.nodes:,}")
    every = max(len(chosen.vectors) for chosen in vectors) <= _MOST_VALUATIONS
    spin, reduced = (
        _best(trial, vectors, offer, figures.nodes, repeats) if wanted and spin_version() else None
        for offer, wanted in ((Offer.VALUATIONS, every), (Offer.DISTINCT, True))
    )
    return Comparison(trial.name, figures, seconds, folded_seconds, spin, reduced)


def _ours(
    trial: Trial, vectors: Sequence[StateVectors], repeats: int, folds: bool
) -> tuple[Figures, float]:
    times = []
    for _ in range(repeats):
        engine = Engine(trial, vectors, encoding_of(trial), _MOST_NODES, folds=folds)
        start = time.process_time()
        while engine.run(1 << 20) is Result.MORE:
            pass
        times.append(time.process_time() - start)
    return engine.figures, min(times)


def _best(
    trial: Trial, vectors: Sequence[StateVectors], offer: Offer, nodes: int, repeats: int
) -> SpinResult:
    model = promela_model(trial, vectors, offer=offer)
    with nothing_remembered():
        runs = [verify(model, depth=_STEPS_PER_STATE * nodes + 100) for _ in range(repeats)]
    return min(runs, key=lambda result: result.seconds)


def report(comparison: Comparison) -> str:
    """Return the result as text."""
    figures = comparison.figures
    lines = [
        f"trial {comparison.trial}: {figures.nodes:,} reachable states, "
        f"{figures.bytes / figures.nodes:.0f} bytes each",
        _line("gainwright", figures.ticks, comparison.seconds, comparison.states_per_second),
        _line(
            "gainwright, folded",
            figures.ticks,
            comparison.folded_seconds,
            comparison.folded_states_per_second,
        ),
    ]
    if comparison.spin_reduced is None:
        return "\n".join([*lines, "spin is not installed: not compared"])
    named = {"every valuation": comparison.spin, "distinct inputs": comparison.spin_reduced}
    for name, spin in named.items():
        if spin is None:
            continue
        lines.append(_line(f"spin, {name}", spin.transitions, spin.seconds, _rate(spin) or 0.0))
        if spin.stored_states != figures.nodes or not spin.complete:
            lines.append(f"DIFFERENT: spin stored {spin.stored_states:,} states")
        if (ratio := comparison.ratio(spin)) is not None:
            folded = ratio * comparison.seconds / comparison.folded_seconds
            more = "times as many states per second"
            lines.append(f"gainwright: {ratio:.1f} {more}, with waits folded {folded:.1f}")
    return "\n".join(lines)


def _line(name: str, ticks: int, seconds: float, rate: float) -> str:
    return f"{name:22} {ticks:>12,} ticks {seconds:>8.2f} s {rate:>12,.0f} states/s"


def main(arguments: Sequence[str] | None = None) -> int:
    """Compare and print; 1 if the two counts differ."""
    parser = argparse.ArgumentParser(prog="gainwright_proof.exploration.benchmark")
    parser.add_argument("--full", action="store_true", help="the shipped trial as it is")
    parser.add_argument("--trial", metavar="FILE", help="another trial")
    options = parser.parse_args(arguments)
    try:
        if options.trial or options.full:
            trial = load_trial(options.trial or shipped_trial_path())
        else:
            trial = shortened_trial(_DIVISOR)
        comparison = compare(trial, repeats=1 if options.full else 3)
    except (InputError, SpinError) as error:
        print(error, file=sys.stderr)
        return 2
    print(report(comparison))
    spin = comparison.spin_reduced
    return int(spin is not None and spin.stored_states != comparison.figures.nodes)


if __name__ == "__main__":
    sys.exit(main())
