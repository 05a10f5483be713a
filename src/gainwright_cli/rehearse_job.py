"""``gainwright rehearse --then``: trials one after the other, each from the results before it."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gainwright_cli.console import console, doing, print_json, refuse_beside, trial_path
from gainwright_cli.rehearse_everywhere import everywhere_with_files, write_files
from gainwright_cli.schedules import EVERYWHERE_FILE

if TYPE_CHECKING:
    from gainwright.language.model import Trial
    from gainwright_sim.machine import Machine
    from gainwright_sim.rehearsal.everywhere import Everywhere
    from gainwright_sim.rehearsal.rehearse import Rehearsal
    from gainwright_sim.rehearsal.summary import Summary

README = """\
summary.json      what all trials found together, with seed and digests
N-TRIAL           record of each trial, in order
"""
README_EVERYWHERE = """\
everywhere.json   what was chosen by each trial
N-TRIAL           record of each trial, in order, at all places
"""


def add_then_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--then",
        action="append",
        default=[],
        metavar="TRIAL",
        help="with MACHINE: another trial after --trial, from the results found so far, such as "
        "--trial complete --then loadside; may be given again",
    )


def check_job(arguments: argparse.Namespace) -> None:
    """Refuse options that mean one trial only."""
    given = {
        "--family": arguments.family is not None,
        "--repeat": arguments.repeat > 1,
        "--replay": arguments.replay is not None,
        "--reference": arguments.reference is not None,
        "--cross-check": arguments.cross_check,
    }
    refuse_beside(
        "--then", bool(arguments.then), given, "one of them",
        "rehearse one trial with that option; `gainwright compare` compares records of jobs",
    )  # fmt: skip


def run_job(arguments: argparse.Namespace, machine: Machine, description: bytes) -> int:
    """Rehearse all trials, print one summary, and return the exit code."""
    files = [trial_path(name) for name in (arguments.trial, *arguments.then)]
    trials = _fitting(files, machine)
    if arguments.everywhere:
        return _everywhere(arguments, trials, machine)
    return _in_one_place(arguments, files, trials, machine, description)


def _fitting(files: Sequence[Path], machine: Machine) -> list[Trial]:
    """Return the trials; InputError before any work if one of them does not fit the machine."""
    from gainwright.language.load import load_trial
    from gainwright_codegen.axis_c.tables import axis_tables
    from gainwright_sim.rig.axis import axis_data
    from gainwright_sim.rig.fit import check_fit

    trials = [load_trial(file) for file in files]
    for trial in trials:
        check_fit(trial, machine, axis_tables(trial, axis_data(machine)))
    return trials


def _in_one_place(
    arguments: argparse.Namespace,
    files: Sequence[Path],
    trials: Sequence[Trial],
    machine: Machine,
    description: bytes,
) -> int:
    from gainwright_sim.machine import machine_toml
    from gainwright_sim.machine.model import with_settings
    from gainwright_sim.rehearsal.bench import Bench
    from gainwright_sim.rehearsal.job import has_result, job_of, results
    from gainwright_sim.rehearsal.rehearse import rehearse
    from gainwright_sim.rehearsal.summary import summarise

    done: list[tuple[Rehearsal, bytes]] = []
    parts: list[Summary] = []
    now = machine
    with doing("compiling the exported C and the rig") as say:
        for trial in trials:
            say(f"rehearsing: {trial.name}")
            rehearsal = rehearse(Bench(trial, now), arguments.seed, log_control=True)
            done.append((rehearsal, machine_toml(now).encode() if done else description))
            parts.append(summarise(rehearsal))
            if not has_result(parts[-1]):
                break
            now = with_settings(now, results(parts[-1]))
    job = job_of(machine, [trial.name for trial in trials], parts)
    if arguments.out is not None:
        with doing("drawing the pictures"):
            _write(arguments, files, done, parts, job.as_json())
    _show(arguments, job.as_json(), list(job.lines()), trials)
    return job.exit_code


def _write(
    arguments: argparse.Namespace,
    files: Sequence[Path],
    done: Sequence[tuple[Rehearsal, bytes]],
    parts: Sequence[Summary],
    whole: Mapping[str, Any],
) -> None:
    from gainwright.result_folder import result_folder
    from gainwright_sim.rehearsal.record import fill_record, write_json
    from gainwright_sim.rehearsal.words import CAUTION

    with result_folder(Path(arguments.out), force=arguments.force) as folder:
        for number, (rehearsal, description) in enumerate(done):
            place = folder / _part(number, rehearsal.trial)
            place.mkdir()
            fill_record(place, rehearsal, parts[number], files[number], description)
        write_json(folder / "summary.json", whole)
        (folder / "README.txt").write_text(f"{README}\n{CAUTION}\n", encoding="utf-8")


def _part(number: int, trial: Trial) -> str:
    return f"{number + 1}-{trial.name}"


def _everywhere(arguments: argparse.Namespace, trials: Sequence[Trial], machine: Machine) -> int:
    from gainwright.result_folder import result_folder
    from gainwright_sim.machine.model import with_settings
    from gainwright_sim.rehearsal.record import write_json
    from gainwright_sim.rehearsal.words import CAUTION

    parts: list[tuple[Everywhere, dict[str, bytes]]] = []
    now = machine
    for trial in trials:
        parts.append(everywhere_with_files(trial, now, arguments.seed))
        found = parts[-1][0]
        if not found.chosen or found.exit_code:
            break
        now = with_settings(now, found.results)
    whole = {
        "machine": machine.name,
        "trials": [trial.name for trial in trials],
        "machine_time_s": sum(part.machine_time_s for part, _ in parts),
        "chosen": [chosen for part, _ in parts for chosen in part.as_json()["chosen"]],
        "parts": [part.as_json() for part, _ in parts],
    }
    if arguments.out is not None:
        with result_folder(Path(arguments.out), force=arguments.force) as folder:
            for number, (_, files) in enumerate(parts):
                place = folder / _part(number, trials[number])
                place.mkdir()
                write_files(place, files)
            write_json(folder / EVERYWHERE_FILE, whole)
            (folder / "README.txt").write_text(
                f"{README_EVERYWHERE}\n{CAUTION}\n", encoding="utf-8"
            )
    lines = [line for part, _ in parts for line in part.lines()]
    lines += [f"{trial.name}: not begun" for trial in trials[len(parts) :]]
    lines.append(f"Machine time in all: {whole['machine_time_s']:.0f} s")
    _show(arguments, whole, lines, trials)
    return max(part.exit_code for part, _ in parts)


def _show(
    arguments: argparse.Namespace,
    whole: Mapping[str, Any],
    lines: Sequence[str],
    trials: Sequence[Trial],
) -> None:
    from gainwright_sim.rehearsal.words import CAUTION, reservation_lines

    if arguments.json:
        print_json(whole)
        return
    screen = console()
    for line in lines:
        screen.print(line, markup=False)
    screen.print()
    if arguments.out is not None:
        screen.print(f"Records: {arguments.out}", markup=False)
    for trial in trials:
        for line in reservation_lines(trial):
            screen.print(line, markup=False)
    screen.print()
    screen.print(CAUTION, style="dim", markup=False)
