"""What all commands share: consoles, JSON, seeds, the files that a name or path means."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gainwright.errors import input_error
from gainwright.language.shipped import shipped_trial_names, shipped_trial_path

if TYPE_CHECKING:
    from rich.console import Console

DEFAULT_TRIAL = "standard"
SEED_BITS = 64


def console(to_error: bool = False) -> Console:
    """Return a console: colour in a terminal unless NO_COLOR is set, plain text when piped."""
    from rich.console import Console

    class Screen(Console):
        def on_broken_pipe(self) -> None:
            """Leave it to ``main``: the reader has gone, and that is no failure."""
            raise BrokenPipeError

    stream = sys.stderr if to_error else sys.stdout
    width = None if stream.isatty() else int(os.environ.get("COLUMNS", "110"))
    return Screen(file=stream, highlight=False, width=width, soft_wrap=not stream.isatty())


@contextmanager
def doing(what: str) -> Iterator[Callable[[str], None]]:
    """Let a terminal say what takes so long; yields a function that says what comes next.

    Nothing is said where the error output is no terminal.
    """
    from rich.live import Live
    from rich.spinner import Spinner

    with Live(Spinner("dots", what), console=console(to_error=True), transient=True) as line:
        yield lambda now: line.update(Spinner("dots", now), refresh=True)


def print_json(data: Any) -> None:
    """Print data for a program to read."""
    print(json.dumps(data, indent=2, allow_nan=False))


def trial_path(name_or_path: str) -> Path:
    """Return the file of a shipped trial's name, or the path itself.

    A folder in the way, such as the record ``--out gentle``, does not hide a shipped name.
    """
    path = Path(name_or_path)
    if path.suffix == "" and (not path.exists() or name_or_path in shipped_trial_names()):
        _refuse_machine(name_or_path)
        return shipped_trial_path(name_or_path)
    return path


def _refuse_machine(name: str) -> None:
    if name in shipped_trial_names():
        return
    from gainwright_sim.machine import shipped_machine_names

    if name in shipped_machine_names():
        raise input_error(
            name, "", "a machine", f"a trial: a path, or one of {', '.join(shipped_trial_names())}",
            f"name a trial; `gainwright rehearse {name}` rehearses one on that machine",
        )  # fmt: skip


def add_trial_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--trial``."""
    parser.add_argument(
        "--trial",
        default=DEFAULT_TRIAL,
        metavar="TRIAL",
        help="trial specification, or the name of a shipped one (default: %(default)s)",
    )


def add_out_options(parser: argparse.ArgumentParser, what: str, required: bool = False) -> None:
    """Add ``--out`` and ``--force``."""
    parser.add_argument("--out", metavar="DIR", required=required, help=f"folder for {what}")
    parser.add_argument(
        "--force",
        action="store_true",
        help="let --out write over files that were changed or are not gainwright's",
    )


def add_json_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--json``."""
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def seed(text: str) -> int:
    """Read a seed from the command line; argparse reports what is wrong with it."""
    try:
        value = int(text)
    except ValueError:
        value = -1
    if not 0 <= value < 2**SEED_BITS:
        raise argparse.ArgumentTypeError(
            f"found {text!r}, expected a whole number from 0 to 2^{SEED_BITS} - 1"
        )
    return value


def refuse_without(option: str, given: bool, other: str, other_given: bool) -> None:
    """Refuse an option that does nothing without another one."""
    if given and not other_given:
        raise refuse(option, f"{option} without {other}", f"{other} too", f"add {other}")


def refuse_beside(
    option: str, given: bool, others: Mapping[str, bool], expected: str, remedy: str
) -> None:
    """Refuse an option that is given beside the first of others that it does not go with."""
    beside = [other for other, is_given in others.items() if is_given]
    if given and beside:
        raise refuse(option, f"{option} beside {beside[0]}", expected, remedy)


def refuse(place: str, found: str, expected: str, remedy: str) -> Exception:
    """Return the error for a command line that cannot be carried out."""
    return input_error("command line", place, found, expected, remedy)
