"""``gainwright``: finds the command, runs it, and turns errors into messages and exit codes.

A command is a module of this package with ``add_arguments(parser)`` and ``run(arguments) -> int``;
only the one that is asked for is imported. EXIT_CODES says what the numbers mean.
"""

from __future__ import annotations

import argparse
import errno
import importlib
import os
import sys
import traceback
from collections.abc import Sequence
from threading import Event
from typing import Any

from gainwright import __version__
from gainwright.errors import InputError
from gainwright_cli.console import refuse_without
from gainwright_cli.interruption import one_interrupt_ends_it

EXIT_CODES = {
    0: "done",
    1: "the answer is no: a requirement refuted, a trial that did not finish",
    2: "input that cannot be used",
    3: "unfinished: a limit was reached before the answer",
    4: "internal error: a mistake of gainwright itself",
    130: "interrupted",
}
INTERNAL_ERROR = 4
INTERRUPTED = 130
TRACE_VARIABLE = "GAINWRIGHT_TRACE"
COMMANDS = {
    "rehearse": "run a trial's exported C on a simulated axis",
    "show": "show a trial as decision tables, with its requirements",
    "check": "check a trial or a machine description",
    "export": "write C99 source of a trial for one axis",
    "crosscheck": "build and run an export on real instruction sets, and measure it",
    "listen": "run the detector over a recorded signal",
    "prove": "prove a trial's requirements, state by state and input by input",
    "campaign": "rehearse on many random axes and compare with exact theory",
    "compare": "show what moved between two records of rehearse or campaign",
    "list": "list the trials and machines that come with gainwright",
    "new": "begin a trial or a machine description of your own from a commented template",
    "schema": "print the JSON Schema of a file kind, for editors",
    "completion": "print completion of commands and options for a shell",
}
CAUTION = (
    "Not a safety function. A trial moves machinery on purpose and drives it to the edge of "
    "instability: people stay out of the hazard zone; an independent emergency stop, limit "
    "switches and safe torque off are in place and tested first; risk assessment, local codes and "
    "licensed practice decide."
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit code."""
    words = list(sys.argv[1:] if argv is None else argv)
    # Our matrices are tiny: idle threads of the linear algebra would only take time from the rig.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _print_what_can_be_printed()
    with one_interrupt_ends_it() as interrupted:
        return _run(words, interrupted)


def _run(words: Sequence[str], interrupted: Event) -> int:
    try:
        arguments = _parsed(words)
        if "force" in arguments:
            refuse_without("--force", arguments.force, "--out", arguments.out is not None)
        code = int(arguments.run(arguments))
        sys.stdout.flush()
        return code
    except InputError as error:
        print(f"gainwright: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return _interrupted()
    except BrokenPipeError:
        # The reader of our output has gone, as with `| head`.
        _forget_output()
        return 0
    except OSError as error:
        if error.errno != errno.ENOSPC:
            return _internal_error(error, words)
        _forget_output()
        print("gainwright: standard output: no space left on device", file=sys.stderr)
        return 2
    except Exception as error:
        # Compiled libraries make an error of their own of an interrupt that comes as they load.
        return _interrupted() if interrupted.is_set() else _internal_error(error, words)


class _Parser(argparse.ArgumentParser):
    """Hides no error of the output, as its base does."""

    def _print_message(self, message: str, file: Any = None) -> None:
        (file or sys.stderr).write(message)


def _parsed(words: Sequence[str]) -> argparse.Namespace:
    """Return the options; a help text that nothing can hold is as bad as any other output."""
    try:
        return parser(words).parse_args(words)
    except SystemExit:
        sys.stdout.flush()
        raise


def _print_what_can_be_printed() -> None:
    """A terminal that knows ASCII only gets question marks, not an error."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def _forget_output() -> None:
    """Let the interpreter flush what is left into nothing when it ends."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


def _interrupted() -> int:
    print("gainwright: interrupted; nothing was left half written", file=sys.stderr)
    return INTERRUPTED


def _internal_error(error: Exception, words: Sequence[str]) -> int:
    place = traceback.extract_tb(error.__traceback__)[-1]
    print(
        f"gainwright: internal error: {type(error).__name__}: {error}\n"
        f"  place:    {os.path.basename(place.filename)}, line {place.lineno}\n"
        f"  command:  gainwright {' '.join(words)}\n"
        f"  remedy:   this is a mistake of gainwright {__version__}, not of your input: please "
        f"report it with the output of the same command under {TRACE_VARIABLE}=1",
        file=sys.stderr,
    )
    if os.environ.get(TRACE_VARIABLE):
        traceback.print_exception(error)
    return INTERNAL_ERROR


def parser(words: Sequence[str] = (), whole: bool = False) -> argparse.ArgumentParser:
    """Return the parser with the options of the command in ``words``, or of all if ``whole``."""
    top = _Parser(
        prog="gainwright",
        description="Tune servo axes by trial on the machine itself: specify, rehearse, prove and "
        "export the trial.",
        epilog="Try: gainwright rehearse kiln-shuttle --out out/kiln-shuttle. " + CAUTION,
    )
    top.add_argument("--version", action="version", version=f"gainwright {__version__}")
    commands = top.add_subparsers(title="commands", metavar="COMMAND", required=True)
    wanted = next((word for word in words if not word.startswith("-")), "")
    for name, purpose in COMMANDS.items():
        description = f"{purpose[0].upper()}{purpose[1:]}."
        command = commands.add_parser(name, help=purpose, description=description)
        if whole or name == wanted:
            module = importlib.import_module(f"gainwright_cli.{name}")
            module.add_arguments(command)
            command.set_defaults(run=module.run)
    return top


if __name__ == "__main__":
    sys.exit(main())
