"""``gainwright check``: validates a trial or a machine description, whichever the file is."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright.described.nearest import suggestion
from gainwright.errors import InputError, input_error
from gainwright.language.shipped import shipped_trial_names, shipped_trial_path
from gainwright_cli.console import (
    DEFAULT_TRIAL,
    add_json_option,
    add_trial_option,
    console,
    print_json,
    refuse,
    trial_path,
)

if TYPE_CHECKING:
    from gainwright.language.model import Trial

Checked = tuple[dict[str, str | int | tuple[str, ...]], Sequence[str]]
"""What there is to say of a file, and advice about it."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file",
        metavar="FILE",
        help="a trial specification or a machine description, or the name of a shipped one",
    )
    add_trial_option(parser)
    add_json_option(parser)


def run(arguments: argparse.Namespace) -> int:
    kind, path = _kind(arguments.file)
    if kind == "trial" and arguments.trial != DEFAULT_TRIAL:
        raise refuse(
            "--trial", f"{arguments.trial} beside a trial", "--trial beside a machine description",
            "leave it out",
        )  # fmt: skip
    result, advice = (
        _check_trial(path) if kind == "trial" else _check_machine(path, arguments.trial)
    )
    if arguments.json:
        print_json({"file": str(path), "kind": kind, **result, "advice": list(advice)})
        return 0
    screen = console()
    screen.print(f"{path}: valid {kind}", markup=False)
    for name, value in result.items():
        lines = value if isinstance(value, tuple) else (value,)
        for number, words in enumerate(lines):
            label = "" if number else name.replace("_", " ") + ":"
            screen.print(f"  {label:<18} {words}", markup=False)
    for sentence in advice:
        screen.print(f"Advice: {sentence}.", markup=False)
    screen.print(f"Next:\n  {_following(kind, arguments)}", markup=False)
    return 0


def _following(kind: str, arguments: argparse.Namespace) -> str:
    if kind == "trial":
        return f"gainwright show {arguments.file}"
    trial = "" if arguments.trial == DEFAULT_TRIAL else f" --trial {arguments.trial}"
    return f"gainwright rehearse {arguments.file}{trial}"


def _kind(name: str) -> tuple[str, Path]:
    from gainwright.described.file_kind import file_kind
    from gainwright.described.text_file import read_toml
    from gainwright_sim.machine import machine_path, shipped_machine_names

    shipped = (*shipped_trial_names(), *shipped_machine_names())
    if name in shipped_trial_names():  # as elsewhere, a folder such as a record does not hide it
        return "trial", shipped_trial_path(name)
    if name in shipped_machine_names():
        return "machine", machine_path(name)
    path = Path(name)
    if not path.suffix and not path.exists():
        raise input_error(
            name, "", "neither a shipped trial or machine nor a file",
            f"a path, or one of {', '.join(shipped)}", suggestion(name, shipped, "check the path"),
        )  # fmt: skip
    tables = read_toml(path).keys()
    if kind := file_kind(tables):
        return kind, path
    raise input_error(
        path,
        "",
        f"tables {', '.join(sorted(tables)) or '(none)'}",
        "a trial (it has a table [trial]) or a machine description ([mechanics], [drive])",
        "see `gainwright schema trial` and `gainwright schema machine`",
    )


def _check_trial(path: Path) -> Checked:
    from gainwright.language.advice import trial_advice
    from gainwright.language.load import load_trial

    trial = load_trial(path)
    _check_limits_of_c(trial, path)
    return {
        "name": trial.name,
        "states": len(trial.states),
        "rows": len(trial.rows),
        "conditions": len(trial.conditions),
        "requirements": len(trial.requirements),
        "stages": len(trial.stages),
        "digest": trial.digest,
        **({"rehearsals_only": trial.rehearsals_only} if trial.rehearsals_only else {}),
    }, trial_advice(trial)


def _check_limits_of_c(trial: Trial, path: Path) -> None:
    """Refuse here what rehearse, prove and export would refuse later, under the file's name."""
    from gainwright.detector.findings import measures_response
    from gainwright.detector.response_design import response_wanted
    from gainwright_codegen.sources import trial_sources

    try:
        trial_sources(trial)
        for stage in trial.stages if measures_response(trial) else ():
            response_wanted(trial, stage)
    except InputError as error:
        raise InputError(replace(problem, file=str(path)) for problem in error.problems) from None


def _check_machine(path: Path, trial_name: str) -> Checked:
    from gainwright.language.load import load_trial
    from gainwright_codegen.axis_c.tables import axis_tables
    from gainwright_sim.machine import load_machine, machine_digest, mechanics_in_words
    from gainwright_sim.plant.natural import natural_frequencies
    from gainwright_sim.rehearsal.advice import cruise_time_s, machine_advice, time_to_cruise_s
    from gainwright_sim.rig.axis import axis_data
    from gainwright_sim.rig.fit import check_fit

    machine, trial = load_machine(path), load_trial(trial_path(trial_name))
    tables = axis_tables(trial, axis_data(machine))
    check_fit(trial, machine, tables)
    cruise_s = cruise_time_s(trial, machine)
    at_speed = "" if cruise_s is None else f", then {max(cruise_s, 0.0):.3g} s at constant speed"
    return {
        "name": machine.name,
        "origin": machine.origin,
        "masses": machine.chain.mass_count,
        "at_the_motor": mechanics_in_words(path),
        "first_frequency": natural_frequencies(machine.chain).in_words(),
        **{
            f"at {situation.name}": natural_frequencies(situation.chain).in_words()
            for situation in machine.situations
        },
        "moves": f"{time_to_cruise_s(machine):.3g} s to cruise speed{at_speed}",
        "digest": machine_digest(machine),
    }, machine_advice(trial, machine, tables)
