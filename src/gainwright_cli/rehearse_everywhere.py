"""``gainwright rehearse --everywhere``: one trial at every position and with every payload."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright_cli.console import console, print_json, refuse

if TYPE_CHECKING:
    from gainwright.language.model import Trial
    from gainwright_sim.machine import Machine

FILE = "everywhere.json"


def check_everywhere(arguments: argparse.Namespace) -> None:
    """Refuse options that mean one place only."""
    given = {
        "--family": arguments.family is not None,
        "--at": arguments.at is not None,
        "--repeat": arguments.repeat > 1,
        "--replay": arguments.replay is not None,
        "--reference": arguments.reference is not None,
    }
    beside = [option for option, is_given in given.items() if is_given]
    if arguments.everywhere and beside:
        raise refuse(
            "--everywhere", f"--everywhere beside {beside[0]}", "one of them",
            "rehearse one place with --at, or all of them with --everywhere",
        )  # fmt: skip


def run_everywhere(arguments: argparse.Namespace, trial: Trial, machine: Machine) -> int:
    """Rehearse at every place, choose, print, and return the exit code."""
    from gainwright.result_folder import result_folder
    from gainwright_sim.rehearsal.bench import Bench
    from gainwright_sim.rehearsal.everywhere import places_of, rehearse_everywhere
    from gainwright_sim.rehearsal.words import CAUTION

    places = places_of(machine)
    with console(to_error=True).status("compiling the exported C and the rig") as status:
        bench = Bench(trial, machine, changeable=True)
        found = rehearse_everywhere(
            bench, places, arguments.seed, lambda name: status.update(f"rehearsing: {name}")
        )
    if arguments.out is not None:
        with result_folder(Path(arguments.out), force=arguments.force) as folder:
            text = json.dumps(found.as_json(), indent=2, allow_nan=False) + "\n"
            (folder / FILE).write_text(text, encoding="utf-8")
    if arguments.json:
        print_json(found.as_json())
        return found.exit_code
    screen = console()
    for line in found.lines():
        screen.print(line, markup=False)
    screen.print()
    screen.print(CAUTION, style="dim", markup=False)
    return found.exit_code
