"""``gainwright campaign``: many rehearsals on random axes, compared with exact theory."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from gainwright_cli.console import (
    add_json_option,
    add_trial_option,
    console,
    print_json,
    seed,
    trial_path,
)

if TYPE_CHECKING:
    from gainwright_sim.campaign.distribution import Distribution


def _count(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 1_000_000:
        raise argparse.ArgumentTypeError(
            f"found {text!r}, expected a whole number from 1 to 1000000"
        )
    return int(text)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_trial_option(parser)
    parser.add_argument(
        "--axes", type=_count, default=200, help="how many random axes (default: %(default)s)"
    )
    parser.add_argument("--seed", type=seed, default=0, help="of the first axis (default: 0)")
    parser.add_argument(
        "--noise", type=seed, default=0, help="added to each axis' seed for its noise (default: 0)"
    )
    parser.add_argument(
        "--workers",
        type=_count,
        default=os.cpu_count() or 1,
        help="processes (default: %(default)s)",
    )
    add_json_option(parser)


def run(arguments: argparse.Namespace) -> int:
    from gainwright_sim.campaign.distribution import distribution
    from gainwright_sim.campaign.random_axes import run_axes

    from gainwright.language.load import load_trial

    trial = load_trial(trial_path(arguments.trial))
    seeds = range(arguments.seed, arguments.seed + arguments.axes)
    with _progress(arguments.axes) as progress:
        results = run_axes(trial, seeds, arguments.noise, arguments.workers, progress)
    found = distribution(results)
    if arguments.json:
        print_json({"seed": arguments.seed, "trial_digest": trial.digest, **found.as_json()})
    else:
        _print(found, arguments)
    return 0 if all(goal.met for goal in found.goals) else 1


@contextmanager
def _progress(total: int) -> Iterator[Callable[[int], None]]:
    from rich.progress import Progress

    screen = console(to_error=True)
    with Progress(console=screen, disable=not screen.is_terminal, transient=True) as bars:
        task = bars.add_task("random axes", total=total)
        yield lambda done: bars.update(task, completed=done)


def _print(found: Distribution, arguments: argparse.Namespace) -> None:
    from gainwright_sim.campaign.distribution import QUANTILES

    screen = console()
    screen.print(
        f"{found.count} random axes from seed {arguments.seed}; "
        + ", ".join(f"{count} {name}" for name, count in found.outcomes.items()),
        markup=False,
    )
    screen.print(f"{'percentile':<28}" + "".join(f"{q:>9}" for q in QUANTILES), markup=False)
    for name, values, digits in (
        ("found / exact limit", found.ratio, 3),
        ("oscillation / torque limit", found.oscillation_of_limit, 3),
        ("machine time [s]", found.machine_time_s, 1),
    ):
        screen.print(f"{name:<28}" + "".join(f"{v:>9.{digits}f}" for v in values), markup=False)
    for goal in found.goals:
        verdict = "met" if goal.met else "NOT MET"
        screen.print(f"{goal.what}: {goal.wanted}; reached {goal.reached}: {verdict}", markup=False)
    for result in found.outside:
        screen.print(
            f"outside: axis seed {result.axis_seed}, noise seed {result.noise_seed}, "
            f"{result.masses} masses, {result.outcome}, ratio {result.ratio:.3f}, oscillation "
            f"{result.oscillation_of_limit:.3f}"
            + (f", violated {', '.join(result.violations)}" if result.violations else ""),
            markup=False,
        )
