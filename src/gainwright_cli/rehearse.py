"""``gainwright rehearse``: a trial's exported C on a simulated axis."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from gainwright_cli.console import (
    add_json_option,
    add_trial_option,
    console,
    print_json,
    seed,
    trial_path,
)

if TYPE_CHECKING:
    from gainwright.language.model import Trial
    from gainwright_sim.rehearsal.rehearse import Progress


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "machine",
        metavar="MACHINE",
        help="name of a shipped machine description (such as kiln-shuttle), or a path to one",
    )
    add_trial_option(parser)
    parser.add_argument("--seed", type=seed, default=1, help="of the torque noise (default: 1)")
    parser.add_argument("--out", metavar="DIR", help="folder for the record and the picture")
    parser.add_argument(
        "--replay",
        metavar="FILE",
        help="force the inputs of a run that `gainwright prove` kept, such as a counterexample",
    )
    add_json_option(parser)


def run(arguments: argparse.Namespace) -> int:
    from gainwright.language.load import load_trial
    from gainwright_sim.machine import load_machine, machine_path
    from gainwright_sim.rehearsal.bench import Bench
    from gainwright_sim.rehearsal.rehearse import rehearse
    from gainwright_sim.rehearsal.summary import summarise

    trial_file = trial_path(arguments.trial)
    trial = load_trial(trial_file)
    machine = load_machine(arguments.machine)
    bench = Bench(trial, machine)
    forced = _forced(arguments.replay, trial) if arguments.replay is not None else {}
    with _progress(trial) as progress:
        rehearsal = rehearse(bench, arguments.seed, progress, log_control=True, **forced)
    summary = summarise(rehearsal)
    if arguments.out is not None:
        from gainwright_sim.rehearsal.record import write_record

        write_record(arguments.out, rehearsal, summary, trial_file, machine_path(arguments.machine))
    if arguments.json:
        print_json(summary.as_json())
    else:
        _print(summary, arguments)
    return 0 if summary.outcome == "finished" else 1


def _forced(path: str, trial: Trial) -> dict[str, Any]:
    """Return the options by which a rehearsal goes the way of a run."""
    from gainwright_proof.exploration import read_run
    from gainwright_sim.rig.run import Override

    recorded = read_run(path, trial)
    overrides = [Override(*stretch) for stretch in recorded.forced_inputs()]
    return {"overrides": overrides, "exact_ticks": recorded.ticks}


def _print(summary, arguments: argparse.Namespace) -> None:  # type: ignore[no-untyped-def]
    from gainwright_sim.rehearsal.words import CAUTION, summary_lines

    screen = console()
    for line in summary_lines(summary):
        screen.print(line, markup=False)
    screen.print()
    if arguments.out is None:
        screen.print("Next: the same with a record and a picture:", markup=False)
        screen.print(
            f"  gainwright rehearse {arguments.machine} --out rehearsal-{summary.machine}",
            markup=False,
        )
    else:
        screen.print(f"Record and picture: {arguments.out}/rehearsal.png", markup=False)
        screen.print("Next: take the C home:", markup=False)
        screen.print(
            f"  gainwright export {arguments.machine} --out export-{summary.machine}", markup=False
        )
    screen.print()
    screen.print(CAUTION, style="dim", markup=False)


@contextmanager
def _progress(trial: Trial) -> Iterator[Progress]:
    """A bar per stage that climbs with its rung; nothing is drawn when piped."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("rung {task.completed:.0f} of {task.total:.0f}"),
        TextColumn("{task.fields[state]}"),
        TimeElapsedColumn(),
    )
    screen = console(to_error=True)
    with Progress(*columns, console=screen, disable=not screen.is_terminal, transient=True) as bars:
        tasks = [
            bars.add_task(stage.title, total=stage.rungs - 1, state="") for stage in trial.stages
        ]
        places = {signal.name: k for k, signal in enumerate(trial.outputs)}

        def update(log) -> None:  # type: ignore[no-untyped-def]
            if not len(log):
                return
            state = trial.states[int(log.state[-1])].name.replace("_", " ")
            for task, stage in zip(tasks, trial.stages, strict=True):
                rung = int(log.outputs[-1, places[stage.rung]])
                bars.update(task, completed=rung, state=state)

        yield update
