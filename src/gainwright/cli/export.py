"""``gainwright export``: C99 source of a trial for one axis."""

from __future__ import annotations

import argparse

from gainwright.cli.console import (
    add_json_option,
    add_trial_option,
    console,
    print_json,
    trial_path,
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "machine",
        metavar="MACHINE",
        help="name of a shipped machine description, or a path to one",
    )
    parser.add_argument("--out", metavar="DIR", required=True, help="folder for the C source")
    add_trial_option(parser)
    add_json_option(parser)


def run(arguments: argparse.Namespace) -> int:
    from gainwright.spec.load import load_trial
    from gainwright_codegen.axis_export import export_axis
    from gainwright_codegen.axis_tables import axis_tables
    from gainwright_sim.machine import load_machine
    from gainwright_sim.rig.axis import axis_data
    from gainwright_sim.rig.fit import check_fit

    trial = load_trial(trial_path(arguments.trial))
    machine = load_machine(arguments.machine)
    axis = axis_data(machine)
    check_fit(trial, machine, axis_tables(trial, axis))
    with console(to_error=True).status("searching golden vectors for the self-test"):
        bundle = export_axis(trial, axis, arguments.out)
    if arguments.json:
        print_json(
            {
                "directory": arguments.out,
                "files": {name: len(content) for name, content in bundle.files.items()},
                "bundle_digest": bundle.digest,
                "trial_digest": trial.digest,
                "machine_digest": axis.digest,
                "rows_tested": len(bundle.rows_tested),
                "rows": len(trial.rows),
            }
        )
        return 0
    screen = console()
    for line in (
        f"{arguments.out}: {len(bundle.files)} files, trial {trial.name} for {machine.name}",
        f"  digest of the export: {bundle.digest}",
        f"  the self-test takes {len(bundle.rows_tested)} of {len(trial.rows)} rows",
        "Next: compile and run the self-test, on this computer and on the target:",
        f"  cd {arguments.out} && cc -std=c99 -O2 *.c -o selftest && ./selftest",
        "and read README.txt there. Not a safety function: the cautions in it hold.",
    ):
        screen.print(line, markup=False)
    return 0
