"""States per second: this explorer and ``spin``'s compiled verifier, on the same machine.

Run ``python -m gainwright_proof.exploration.benchmark``; ``--full`` takes the shipped trial as it
is (minutes), otherwise with shorter times and ladder. Both judge the same requirements under every
valuation of the conditions, run on one processor core, and must count the same states. Compilation
is not timed. The verifier is compiled for its fastest exhaustive search, see
:data:`gainwright_proof.second_checker.spin.FLAGS`.

A good part of the difference is that the explorer finds out which valuations behave alike. What is
left of it when the model offers no more inputs than the explorer tries is reported too.
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
from gainwright_proof.second_checker.promela import Offer, promela_model
from gainwright_proof.second_checker.spin import SpinError, SpinResult, spin_version, verify

_DIVISOR = 5
_MOST_NODES = 100_000_000
_MOST_VECTORS = 1 << 14
_STEPS_PER_STATE = 3
"""Steps of the model for one tick, for the longest path of a depth-first search."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Both searches of one trial."""

    trial: str
    figures: Figures
    seconds: float
    """Of our search, processor time, the best of several runs."""
    spin: SpinResult | None
    """Every valuation offered; None if ``spin`` is not installed."""
    spin_reduced: SpinResult | None
    """Only distinct ones offered, see :class:`gainwright_proof.second_checker.promela.Offer`."""

    @property
    def states_per_second(self) -> float:
        return self.figures.nodes / self.seconds

    def ratio(self, spin: SpinResult | None) -> float | None:
        """How many times as many states per second we visit; None if that was not measured."""
        theirs = _rate(spin)
        return None if theirs is None else self.states_per_second / theirs


def _rate(spin: SpinResult | None) -> float | None:
    return None if spin is None or spin.seconds == 0.0 else spin.stored_states / spin.seconds


def compare(trial: Trial, repeats: int = 3) -> Comparison:
    """Search a trial with both; raises SpinError or InputError if one of them cannot run."""
    vectors = vectors_by_state(trial, _MOST_VECTORS)
    times = []
    for _ in range(repeats):
        engine = Engine(trial, vectors, encoding_of(trial), _MOST_NODES)
        start = time.process_time()
        while engine.run(1 << 20) is Result.MORE:
            pass
        times.append(time.process_time() - start)
    figures = engine.figures
    spin, reduced = (
        _best(trial, vectors, offer, figures.nodes, repeats) if spin_version() else None
        for offer in (Offer.VALUATIONS, Offer.DISTINCT)
    )
    return Comparison(trial.name, figures, min(times), spin, reduced)


def _best(
    trial: Trial, vectors: Sequence[StateVectors], offer: Offer, nodes: int, repeats: int
) -> SpinResult:
    model = promela_model(trial, vectors, offer=offer)
    runs = [verify(model, depth=_STEPS_PER_STATE * nodes + 100) for _ in range(repeats)]
    return min(runs, key=lambda result: result.seconds)


def report(comparison: Comparison) -> str:
    """Return the result as text."""
    figures = comparison.figures
    lines = [
        f"trial {comparison.trial}: {figures.nodes:,} reachable states, "
        f"{figures.bytes / figures.nodes:.0f} bytes each",
        _line("gainwright", figures.ticks, comparison.seconds, comparison.states_per_second),
    ]
    if comparison.spin is None:
        return "\n".join([*lines, "spin is not installed: not compared"])
    named = {"every valuation": comparison.spin, "distinct inputs": comparison.spin_reduced}
    for name, spin in named.items():
        if spin is None:
            continue
        lines.append(_line(f"spin, {name}", spin.transitions, spin.seconds, _rate(spin) or 0.0))
        if spin.stored_states != figures.nodes or not spin.complete:
            lines.append(f"DIFFERENT: spin stored {spin.stored_states:,} states")
        if (ratio := comparison.ratio(spin)) is not None:
            lines.append(f"gainwright: {ratio:.1f} times as many states per second")
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
    spin = comparison.spin
    return int(spin is not None and spin.stored_states != comparison.figures.nodes)


if __name__ == "__main__":
    sys.exit(main())
