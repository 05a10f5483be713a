"""``gainwright campaign``: many rehearsals on random axes, compared with exact theory."""

from __future__ import annotations

import argparse
import os
import shlex
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright_cli.console import (
    DEFAULT_TRIAL,
    add_json_option,
    add_out_options,
    add_trial_option,
    console,
    doing,
    print_json,
    refuse_beside,
    seed,
    trial_path,
)
from gainwright_cli.crossing import OPTION, add_crossing_option, asked_inputs

if TYPE_CHECKING:
    from gainwright.language.model import Trial
    from gainwright_sim.campaign.families import Family


def _count(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 1_000_000:
        raise argparse.ArgumentTypeError(
            f"found {text!r}, expected a whole number from 1 to 1000000"
        )
    return int(text)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    from gainwright_sim.campaign.families import EVERY_FAMILY

    add_trial_option(parser)
    parser.add_argument(
        "--family",
        choices=(*EVERY_FAMILY, "all"),
        default="own",
        metavar="NAME",
        help=f"family of axes: {', '.join(EVERY_FAMILY)}, or all (default: %(default)s)",
    )
    parser.add_argument(
        "--count", type=_count, default=200, help="axes of each family (default: %(default)s)"
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
    parser.add_argument(
        "--faults",
        action="store_true",
        help="something breaks on each axis at some moment, unsaid: what did the trial make of it?",
    )
    add_crossing_option(parser)
    add_out_options(parser, "tables, picture and the lines that replay")
    add_json_option(parser)


def run(arguments: argparse.Namespace) -> int:
    from gainwright.language.load import load_trial
    from gainwright.result_folder import check_result_folder
    from gainwright_sim.campaign.families import EVERY_FAMILY, FAMILIES
    from gainwright_sim.campaign.report import family_report
    from gainwright_sim.campaign.run import run_axes
    from gainwright_sim.campaign.words import report_lines

    if arguments.out is not None:
        check_result_folder(Path(arguments.out), force=arguments.force)
    trial_file = trial_path(arguments.trial)
    trial = load_trial(trial_file)
    names = FAMILIES if arguments.family == "all" else [arguments.family]
    seeds = range(arguments.seed, arguments.seed + arguments.count)
    refuse_beside(
        OPTION, arguments.cross_check, {"--faults": arguments.faults}, "one of them",
        "leave one out",
    )  # fmt: skip
    if arguments.faults:
        return _run_broken(arguments, trial_file, trial, names, seeds)
    results = {}
    for name in names:
        with _progress(EVERY_FAMILY[name], arguments.count) as progress:
            results[name] = run_axes(
                trial, seeds, arguments.noise, arguments.workers, progress, EVERY_FAMILY[name],
                asked_inputs(arguments, trial),
            )  # fmt: skip
    reports = [family_report(results[name]) for name in names]
    option = _trial_option(arguments)
    lines = list(report_lines(reports, option))
    if arguments.out is not None:
        from gainwright_sim.campaign.record import write_campaign

        with doing("drawing the picture"):
            write_campaign(
                arguments.out, trial_file, trial, results, reports, lines, option, arguments.force
            )
    if arguments.json:
        families = [report.as_json() for report in reports]
        data = {"seed": arguments.seed, "trial_digest": trial.digest, "families": families}
        print_json(data)
    else:
        for line in lines:
            console().print(line, markup=False)
        if arguments.out is not None:
            console().print(f"\nTables and picture: {arguments.out}/campaign.png", markup=False)
    return 0 if all(goal.met for report in reports for goal in report.goals) else 1


def _run_broken(
    arguments: argparse.Namespace,
    trial_file: Path,
    trial: Trial,
    names: Iterable[str],
    seeds: range,
) -> int:
    from gainwright_sim.campaign.broken import broken_lines, run_broken
    from gainwright_sim.campaign.families import EVERY_FAMILY

    results = []
    for name in names:
        family = EVERY_FAMILY[name]
        with _progress(family, arguments.count) as progress:
            results += run_broken(
                trial, seeds, arguments.noise, arguments.workers, progress, family
            )
    option = _trial_option(arguments)
    lines = list(broken_lines(results, option))
    if arguments.out is not None:
        from gainwright_sim.campaign.record import write_broken

        write_broken(arguments.out, trial_file, trial, results, lines, option, arguments.force)
    if arguments.json:
        axes = [asdict(result) | {"wrong": result.wrong} for result in results]
        print_json({"seed": arguments.seed, "trial_digest": trial.digest, "axes": axes})
    else:
        for line in lines:
            console().print(line, markup=False)
        if arguments.out is not None:
            console().print(f"\nTables: {arguments.out}/report.txt", markup=False)
    return 1 if any(result.wrong for result in results) else 0


def _trial_option(arguments: argparse.Namespace) -> str:
    given = arguments.trial
    named = "" if given == DEFAULT_TRIAL else f" --trial {shlex.quote(given)}"
    return f"{named} {OPTION}" if arguments.cross_check else named


@contextmanager
def _progress(family: Family, total: int) -> Iterator[Callable[[int], None]]:
    from rich.progress import Progress

    screen = console(to_error=True)
    with Progress(console=screen, disable=not screen.is_terminal, transient=True) as bars:
        task = bars.add_task(family.name, total=total)
        yield lambda done: bars.update(task, completed=done)
