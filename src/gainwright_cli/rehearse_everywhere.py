"""``gainwright rehearse --everywhere``: one trial at every position and with every payload."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright_cli.console import console, doing, print_json, refuse_beside
from gainwright_cli.schedules import EVERYWHERE_FILE, schedule_sources

if TYPE_CHECKING:
    from gainwright.language.model import Trial
    from gainwright_sim.machine import Machine
    from gainwright_sim.rehearsal.everywhere import Everywhere


def check_everywhere(arguments: argparse.Namespace) -> None:
    """Refuse options that mean one place only."""
    given = {
        "--family": arguments.family is not None,
        "--at": arguments.at is not None,
        "--repeat": arguments.repeat > 1,
        "--replay": arguments.replay is not None,
        "--reference": arguments.reference is not None,
        "--cross-check": arguments.cross_check,
    }
    refuse_beside(
        "--everywhere", arguments.everywhere, given, "one of them",
        "rehearse one place with --at, or all of them with --everywhere",
    )  # fmt: skip


def run_everywhere(arguments: argparse.Namespace, trial: Trial, machine: Machine) -> int:
    """Rehearse at every place, choose, print, and return the exit code."""
    from gainwright.result_folder import result_folder
    from gainwright_sim.rehearsal.words import CAUTION

    found, files = everywhere_with_files(trial, machine, arguments.seed)
    if arguments.out is not None:
        with result_folder(Path(arguments.out), force=arguments.force) as folder:
            write_files(folder, files)
    if arguments.json:
        print_json(found.as_json())
        return found.exit_code
    screen = console()
    for line in found.lines():
        screen.print(line, markup=False)
    screen.print()
    screen.print(CAUTION, style="dim", markup=False)
    return found.exit_code


def everywhere_with_files(
    trial: Trial, machine: Machine, seed: int
) -> tuple[Everywhere, dict[str, bytes]]:
    """Rehearse at every place; return what was found, and the files of its record."""
    from gainwright_sim.rehearsal.bench import Bench
    from gainwright_sim.rehearsal.everywhere import places_of, rehearse_everywhere

    places = places_of(machine)
    with doing("compiling the exported C and the rig") as say:
        bench = Bench(trial, machine, changeable=True)
        found = rehearse_everywhere(
            bench, machine, places, seed,
            lambda name: say(f"{trial.name}, rehearsing: {name}"),
        )  # fmt: skip
    text = json.dumps(found.as_json(), indent=2, allow_nan=False) + "\n"
    files = {EVERYWHERE_FILE: text.encode()}
    return found, files | schedule_sources(found.schedule, trial, machine)


def write_files(folder: Path, files: Mapping[str, bytes]) -> None:
    for name, content in files.items():
        (folder / name).write_bytes(content)
