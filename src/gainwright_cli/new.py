"""``gainwright new``: a trial or a machine description of one's own, from a commented template.

The template is a file that comes with the package, so that it cannot fall behind the format.
"""

from __future__ import annotations

import argparse
import re
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from gainwright.errors import InputError, input_error
from gainwright_cli.console import console

TEMPLATES = {"trial": "standard", "machine": "glaze-gantry"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("kind", choices=sorted(TEMPLATES), help="which file kind")
    parser.add_argument("name", metavar="NAME", help="its name; the file will be NAME.toml here")
    parser.add_argument(
        "--like",
        metavar="SHIPPED",
        help="which shipped file to begin from, see `gainwright list` (default: "
        + ", ".join(f"{name} for a {kind}" for kind, name in TEMPLATES.items())
        + ")",
    )


def run(arguments: argparse.Namespace) -> int:
    source, load = _template(arguments.kind, arguments.like or TEMPLATES[arguments.kind])
    target = Path(f"{arguments.name}.toml")
    if target.exists():
        raise input_error(
            target, "", "a file that exists", "a new file", "choose another name, or move that file"
        )
    text = _renamed(source.read_text(encoding="utf-8"), arguments.name)
    if arguments.kind == "machine":
        text = re.sub(
            r"^origin = .*$",
            f'origin = "begun from {source.stem}: invented values, to be replaced by your own"',
            text, count=1, flags=re.M,
        )  # fmt: skip
    _check(text, arguments.name, load)
    target.write_text(text, encoding="utf-8")
    screen = console()
    screen.print(f"{target}: a {arguments.kind} like {source.stem}; edit it, then", markup=False)
    screen.print(f"  gainwright check {target}", markup=False)
    return 0


def _template(kind: str, name: str) -> tuple[Path, Callable[[Path], Any]]:
    from gainwright.language.load import load_trial
    from gainwright.language.shipped import shipped_trial_path
    from gainwright_sim.machine import load_machine, machine_path

    if kind == "trial":
        return shipped_trial_path(name), load_trial
    return machine_path(name), load_machine


def _renamed(text: str, name: str) -> str:
    quoted = name.replace("\\", "\\\\").replace('"', '\\"')
    return re.sub(r'^name = ".*"$', lambda _: f'name = "{quoted}"', text, count=1, flags=re.M)


def _check(text: str, name: str, load: Callable[[Path], Any]) -> None:
    """Load the new text before it is kept, so that a name that cannot be is refused."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{Path(name).name or 'new'}.toml"
        path.write_text(text, encoding="utf-8")
        try:
            load(path)
        except InputError as error:
            raise InputError(
                replace(problem, file=f"{name}.toml") for problem in error.problems
            ) from None
