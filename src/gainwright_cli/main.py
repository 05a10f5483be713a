"""``gainwright``: finds the command, runs it, and turns errors into messages and exit codes.

Exit codes: 0 done; 1 the answer is no (a requirement refuted, a trial that did not finish); 2 input
that cannot be used; 3 unfinished; 130 interrupted. A command is a module of this package with
``add_arguments(parser)`` and ``run(arguments) -> int``; only the one that is asked for is imported.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence

from gainwright.errors import InputError

COMMANDS = {
    "rehearse": "run a trial's exported C on a simulated axis",
    "show": "show a trial as decision tables, with its requirements",
    "check": "check a trial or a machine description",
    "export": "write C99 source of a trial for one axis",
    "listen": "run the detector over a recorded signal",
    "prove": "prove a trial's requirements, state by state and input by input",
    "campaign": "rehearse on many random axes and compare with exact theory",
    "schema": "print the JSON Schema of a file kind, for editors",
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
    try:
        arguments = _parser(words).parse_args(words)
        return int(arguments.run(arguments))
    except InputError as error:
        print(f"gainwright: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("gainwright: interrupted; nothing was left half written", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our output has gone, as with `| head`.
        sys.stderr.close()
        return 0


def _parser(words: Sequence[str]) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="gainwright",
        description="Tune servo axes by trial on the machine itself: specify, rehearse, prove and "
        "export the trial.",
        epilog=CAUTION,
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    wanted = next((word for word in words if not word.startswith("-")), "")
    for name, purpose in COMMANDS.items():
        command = commands.add_parser(name, help=purpose, description=f"{purpose}.".capitalize())
        if name == wanted:
            module = importlib.import_module(f"gainwright_cli.{name}")
            module.add_arguments(command)
            command.set_defaults(run=module.run)
    return parser


if __name__ == "__main__":
    sys.exit(main())
