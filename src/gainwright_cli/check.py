"""``gainwright check``: validates a trial or a machine description, whichever the file is."""

from __future__ import annotations

import argparse
from pathlib import Path

from gainwright.errors import input_error
from gainwright.language.shipped import shipped_trial_names, shipped_trial_path
from gainwright_cli.console import add_json_option, console, print_json

TRIAL_TABLE, MACHINE_TABLES = "trial", frozenset({"mechanics", "drive", "motion", "speed_loop"})


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file",
        metavar="FILE",
        help="a trial specification or a machine description, or the name of a shipped one",
    )
    add_json_option(parser)


def run(arguments: argparse.Namespace) -> int:
    kind, path = _kind(arguments.file)
    result = _check_trial(path) if kind == "trial" else _check_machine(path)
    if arguments.json:
        print_json({"file": str(path), "kind": kind, **result})
        return 0
    screen = console()
    screen.print(f"{path}: valid {kind}", markup=False)
    for name, value in result.items():
        screen.print(f"  {name.replace('_', ' ') + ':':<18} {value}", markup=False)
    following = "show" if kind == "trial" else "rehearse"
    screen.print(f"Next:\n  gainwright {following} {arguments.file}", markup=False)
    return 0


def _kind(name: str) -> tuple[str, Path]:
    from gainwright.language.text_file import read_toml
    from gainwright_sim.machine import machine_path, shipped_machine_names

    if name in shipped_trial_names() and not Path(name).exists():
        return "trial", shipped_trial_path(name)
    if name in shipped_machine_names() and not Path(name).exists():
        return "machine", machine_path(name)
    path = Path(name)
    tables = read_toml(path).keys()
    if TRIAL_TABLE in tables:
        return "trial", path
    if MACHINE_TABLES & tables:
        return "machine", path
    raise input_error(
        path,
        "",
        f"tables {', '.join(sorted(tables)) or '(none)'}",
        f"a trial (it has a table [{TRIAL_TABLE}]) or a machine description "
        f"([{'], ['.join(sorted(MACHINE_TABLES))}])",
        "see `gainwright schema trial` and `gainwright schema machine`",
    )


def _check_trial(path: Path) -> dict[str, str | int]:
    from gainwright.language.load import load_trial

    trial = load_trial(path)
    return {
        "name": trial.name,
        "states": len(trial.states),
        "rows": len(trial.rows),
        "conditions": len(trial.conditions),
        "requirements": len(trial.requirements),
        "stages": len(trial.stages),
        "digest": trial.digest,
    }


def _check_machine(path: Path) -> dict[str, str | int]:
    from gainwright_sim.machine import load_machine, machine_digest

    machine = load_machine(path)
    return {
        "name": machine.name,
        "origin": machine.origin,
        "masses": machine.chain.mass_count,
        "digest": machine_digest(machine),
    }
