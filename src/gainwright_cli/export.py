"""``gainwright export``: C99 source of a trial for one axis."""

from __future__ import annotations

import argparse
import shlex
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright_cli.console import (
    add_json_option,
    add_out_options,
    add_trial_option,
    console,
    doing,
    print_json,
    trial_path,
)
from gainwright_cli.export_inputs import to_export

if TYPE_CHECKING:
    from gainwright.language.model import Trial
    from gainwright_codegen.schedule_c.schedule import StageSchedule


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "machine",
        metavar="MACHINE",
        help="name of a shipped machine description, or a path to one",
    )
    add_out_options(parser, "the C source", required=True)
    parser.add_argument(
        "--evidence",
        metavar="DIR",
        help="evidence of `gainwright prove --out`: stamps the export as proved if it matches",
    )
    parser.add_argument(
        "--after",
        metavar="RECORD",
        help="start from the gains that a record of rehearse chose, as rehearse --after does",
    )
    parser.add_argument(
        "--schedule",
        metavar="RECORD",
        help="with the gains over the position that a record of rehearse --everywhere found",
    )
    parser.add_argument(
        "--report",
        metavar="DIR",
        help="also write there what fixed point costs: page, data and picture",
    )
    add_trial_option(parser)
    add_json_option(parser)


def run(arguments: argparse.Namespace) -> int:
    from gainwright.language.load import load_trial
    from gainwright.result_folder import check_result_folder
    from gainwright_codegen.bundle.axis import check_export_folder, export_axis
    from gainwright_sim.machine import load_machine

    for option, target in (("--out", arguments.out), ("--report", arguments.report)):
        if target is not None:  # before what takes long
            check_result_folder(target, option, arguments.force)
    path = trial_path(arguments.trial)
    trial = load_trial(path)
    machine = load_machine(arguments.machine)
    axis, schedules = to_export(trial, machine, arguments.after, arguments.schedule)
    check_export_folder(arguments.out, trial, axis, arguments.force)
    stamp, said = ("", []) if arguments.evidence is None else _stamp(arguments, trial, path)
    with doing("searching golden vectors for the self-test"):
        bundle = export_axis(trial, axis, arguments.out, stamp, arguments.force, schedules)
    if arguments.report is not None:
        from gainwright_codegen.precision.page import write_report

        with doing("measuring what fixed point costs"):
            write_report(trial, axis, arguments.report, arguments.force)
    if arguments.json:
        print_json(
            {
                "directory": arguments.out,
                "files": {name: len(content) for name, content in bundle.files.items()},
                "proof_digest": stamp,
                "taken_from_evidence": said,
                "rehearsals_only": trial.rehearsals_only,
                "bundle_digest": bundle.digest,
                "trial_digest": trial.digest,
                "machine_digest": axis.digest,
                "rows_tested": len(bundle.rows_tested),
                "rows": len(trial.rows),
                "schedules": [schedule.tables.stage.name for schedule in schedules],
            }
        )
        return 0
    screen = console()
    for line in (
        f"{arguments.out}: {len(bundle.files)} files, trial {trial.name} for {machine.name}",
        *_reservation(trial),
        f"  digest of the export: {bundle.digest}",
        f"  the self-test takes {len(bundle.rows_tested)} of {len(trial.rows)} rows",
        *_schedule_lines(schedules),
        f"  proved: {stamp}" if stamp else "  not stamped as proved: no --evidence was given",
        *_said_lines(said, arguments),
        "Next: compile and run the self-test, on this computer and on the target:",
        f"  cd {arguments.out} && cc -std=c99 -O2 *.c -o selftest && ./selftest",
        "and read README.txt there. Not a safety function: the cautions in it hold.",
    ):
        screen.print(line, markup=False)
    if arguments.report is not None:
        screen.print(f"{arguments.report}: what fixed point costs, precision.md", markup=False)
    return 0


def _schedule_lines(schedules: Sequence[StageSchedule]) -> list[str]:
    names = ", ".join(schedule.tables.stage.name for schedule in schedules)
    return [f"  gains over the position, tested by the self-test: {names}"] if schedules else []


def _reservation(trial: Trial) -> list[str]:
    if not trial.rehearsals_only:
        return []
    text = f"FOR REHEARSALS ONLY, not for a machine: {trial.rehearsals_only}"
    return [textwrap.fill(text, 80, initial_indent="  ", subsequent_indent="  ")]


def _said_lines(methods: Sequence[str], arguments: argparse.Namespace) -> list[str]:
    """Say what the stamp rests on without having been found again."""
    if not methods:
        return []
    text = f"not asked again for this stamp, taken as the evidence says: {', '.join(methods)}"
    recheck = ["gainwright", "prove", arguments.trial, "--recheck", arguments.evidence]
    return [
        textwrap.fill(text, 80, initial_indent="  ", subsequent_indent="  "),
        f"  all of it again: {shlex.join(recheck)}",
    ]


def _stamp(arguments: argparse.Namespace, trial: Trial, file: Path) -> tuple[str, list[str]]:
    """Return the digest of evidence that was checked, the exploration repeated, and found whole;
    and the methods that were not asked again."""
    from gainwright.described.text_file import read_toml
    from gainwright_cli.proof_check import matching_evidence
    from gainwright_cli.prove import progress

    with progress() as announce:
        evidence, said = matching_evidence(arguments.evidence, trial, read_toml(file), announce)
    return evidence.digest, said
