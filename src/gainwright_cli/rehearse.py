"""``gainwright rehearse``: a trial's exported C on a simulated axis."""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gainwright_cli.console import (
    DEFAULT_TRIAL,
    add_json_option,
    add_out_options,
    add_trial_option,
    console,
    doing,
    print_json,
    refuse,
    seed,
    trial_path,
)
from gainwright_cli.crossing import OPTION, add_crossing_option, asked_inputs
from gainwright_cli.rehearse_everywhere import check_everywhere, run_everywhere
from gainwright_cli.rehearse_fault import add_fault_option, check_fault, rig_fault
from gainwright_cli.rehearse_job import add_then_option, check_job, run_job
from gainwright_cli.rehearse_records import read_reference, reference_lines, started_from

if TYPE_CHECKING:
    from gainwright.language.model import Trial
    from gainwright_sim.machine import Machine
    from gainwright_sim.rehearsal.bench import Bench
    from gainwright_sim.rehearsal.rehearse import Progress
    from gainwright_sim.rehearsal.repeat import Spread
    from gainwright_sim.rehearsal.summary import Summary


MOST_REPEATS = 1000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    from gainwright_sim.campaign.families import EVERY_FAMILY

    parser.add_argument(
        "machine",
        nargs="?",
        metavar="MACHINE",
        help="name of a shipped machine description (such as kiln-shuttle), or a path to one",
    )
    parser.add_argument(
        "--family",
        choices=tuple(EVERY_FAMILY),
        metavar="NAME",
        help="instead of MACHINE: a random axis of a campaign's family "
        f"({', '.join(EVERY_FAMILY)})",
    )
    parser.add_argument("--axis-seed", type=seed, help="with --family: seed of the axis")
    add_trial_option(parser)
    add_then_option(parser)
    parser.add_argument("--seed", type=seed, default=1, help="of the torque noise (default: 1)")
    parser.add_argument(
        "--at",
        metavar="SITUATION",
        help="with MACHINE: at another position or with another payload of its description, as "
        "`gainwright check` lists them, such as '-15 m, 920 kg'",
    )
    parser.add_argument(
        "--repeat",
        type=_repeats,
        default=1,
        metavar="N",
        help="rehearse with N seeds, from --seed on, and say how far limits and results spread",
    )
    parser.add_argument(
        "--everywhere",
        action="store_true",
        help="with MACHINE: at every position and with every payload of its description; of each "
        "gain the smallest result is chosen and held against exact theory at each place",
    )
    parser.add_argument(
        "--after",
        metavar="RECORD",
        help="with MACHINE: start from the gains that an earlier record of it chose, such as that "
        "of trial complete before trial loadside",
    )
    parser.add_argument(
        "--reference",
        metavar="RECORD",
        help="say what moved against an earlier record of the same machine, and what that hints at",
    )
    add_out_options(parser, "the record and the picture")
    parser.add_argument(
        "--replay",
        metavar="FILE",
        help="force the inputs of a run that `gainwright prove` kept, such as a counterexample",
    )
    add_fault_option(parser)
    add_crossing_option(parser)
    add_json_option(parser)


def _repeats(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= MOST_REPEATS:
        raise argparse.ArgumentTypeError(
            f"found {text!r}, expected a whole number from 1 to {MOST_REPEATS}"
        )
    return int(text)


def run(arguments: argparse.Namespace) -> int:
    from gainwright.language.load import load_trial
    from gainwright.result_folder import check_result_folder
    from gainwright_sim.rehearsal.bench import Bench
    from gainwright_sim.rehearsal.outcome import OUTCOMES
    from gainwright_sim.rehearsal.rehearse import rehearse
    from gainwright_sim.rehearsal.summary import summarise

    if arguments.repeat > 1 and arguments.replay is not None:
        raise refuse(
            "--repeat", "--repeat beside --replay", "one of them: a replay forces what happens",
            "leave one out",
        )  # fmt: skip
    if arguments.out is not None:
        check_result_folder(Path(arguments.out), force=arguments.force)
    trial_file = trial_path(arguments.trial)
    machine, description = _machine(arguments)
    if arguments.then:
        return run_job(arguments, machine, description)
    trial = load_trial(trial_file)
    if arguments.everywhere:
        return run_everywhere(arguments, trial, machine)
    reference = (
        None
        if arguments.reference is None
        else read_reference("--reference", arguments.reference, machine)
    )
    with doing("compiling the exported C and the rig"):
        bench = Bench(trial, machine, asked=asked_inputs(arguments, trial))
    forced = _forced(arguments.replay, trial) if arguments.replay is not None else {}
    with _progress(trial) as progress:
        fault = rig_fault(arguments, trial)
        rehearsal = rehearse(
            bench, arguments.seed, progress, log_control=True, fault=fault, **forced
        )
    summary = summarise(rehearsal)
    if arguments.out is not None:
        from gainwright_sim.rehearsal.record import write_record

        with doing("drawing the picture"):
            write_record(
                arguments.out, rehearsal, summary, trial_file, description, arguments.force
            )
    spread = _spread(bench, summary, arguments)
    if arguments.json:
        print_json(_as_json(summary, spread, reference))
    else:
        _print(summary, trial, arguments, spread, reference)
    return OUTCOMES[summary.outcome].exit_code


def _as_json(
    summary: Summary, spread: Spread | None, reference: Mapping[str, Any] | None
) -> dict[str, Any]:
    from gainwright_sim.rehearsal.compare import differences

    found = summary.as_json()
    if spread is not None:
        found["repeats"] = spread.as_json()
    if reference is not None:
        found["moved"] = [
            asdict(item) for item in differences(reference, summary.as_json()) if item.moved
        ]
    return found


def _machine(arguments: argparse.Namespace) -> tuple[Machine, bytes]:
    """Return the machine that is meant, and its description as a file holds it."""
    from gainwright_sim.campaign.families import EVERY_FAMILY
    from gainwright_sim.campaign.sampling import sample
    from gainwright_sim.machine import load_machine, machine_path, machine_toml
    from gainwright_sim.machine.situations import machine_at

    _check_machine_options(arguments)
    if arguments.family is not None:
        machine = sample(EVERY_FAMILY[arguments.family], arguments.axis_seed)
        return machine, machine_toml(machine).encode()
    machine = load_machine(arguments.machine)
    if arguments.at is not None:
        machine = machine_at(machine, arguments.at)
    if arguments.after is not None:
        machine = started_from(machine, arguments.after)
        return machine, machine_toml(machine).encode()
    return machine, machine_path(arguments.machine).read_bytes()


def _check_machine_options(arguments: argparse.Namespace) -> None:
    named, drawn = arguments.machine is not None, arguments.family is not None
    if named == drawn:
        raise refuse(
            "MACHINE",
            "a machine and --family" if named else "neither a machine nor --family",
            "one of them: the machine to be rehearsed",
            "name a machine such as kiln-shuttle, or give --family NAME --axis-seed N",
        )
    if drawn and arguments.at is not None:
        raise refuse(
            "--at", "--at beside --family", "--at beside a machine whose description lists "
            "situations", "leave one out",
        )  # fmt: skip
    if drawn and arguments.after is not None:
        raise refuse(
            "--after", "--after beside --family", "--after beside a machine", "leave one out"
        )
    check_everywhere(arguments)
    check_job(arguments)
    check_fault(arguments)
    if drawn != (arguments.axis_seed is not None):
        raise refuse(
            "--axis-seed",
            "--family without a seed of the axis" if drawn else "--axis-seed without --family",
            "both or neither",
            "give --family NAME --axis-seed N, or a machine without them",
        )


def _forced(path: str, trial: Trial) -> dict[str, Any]:
    """Return the options by which a rehearsal goes the way of a run."""
    from gainwright_proof.exploration import read_run
    from gainwright_sim.rig.run import Override

    recorded = read_run(path, trial)
    overrides = [Override(*stretch) for stretch in recorded.forced_inputs()]
    return {"overrides": overrides, "exact_ticks": recorded.ticks}


def _spread(bench: Bench, summary: Summary, arguments: argparse.Namespace) -> Spread | None:
    from gainwright_sim.rehearsal.repeat import repeat

    if arguments.repeat == 1:
        return None
    with doing("rehearsing with other seeds"):
        return repeat(bench, summary, range(arguments.seed + 1, arguments.seed + arguments.repeat))


def _print(
    summary: Summary,
    trial: Trial,
    arguments: argparse.Namespace,
    spread: Spread | None,
    reference: Mapping[str, Any] | None,
) -> None:
    from gainwright_sim.rehearsal.words import CAUTION, reservation_lines, summary_lines

    screen = console()
    for line in summary_lines(summary):
        screen.print(line, markup=False)
    if spread is not None:
        for line in spread.lines():
            screen.print(line, markup=False)
    if reference is not None:
        for line in reference_lines(reference, summary, arguments.reference):
            screen.print(line, markup=False)
    screen.print()
    if arguments.out is not None:
        screen.print(f"Record and picture: {arguments.out}/rehearsal.png", markup=False)
    for line in reservation_lines(trial):
        screen.print(line, markup=False)
    for purpose, command in _next_steps(summary, trial, arguments):
        screen.print(f"Next: {purpose}:\n  {command}", markup=False)
    screen.print()
    screen.print(CAUTION, style="dim", markup=False)


def _next_steps(
    summary: Summary, trial: Trial, arguments: argparse.Namespace
) -> Iterator[tuple[str, str]]:
    """Yield what to do next, and the command for it with all options that matter."""
    named = [] if arguments.trial == DEFAULT_TRIAL else ["--trial", arguments.trial]
    if arguments.out is None:
        drawn = ["--family", arguments.family, "--axis-seed", arguments.axis_seed]
        words = ["rehearse", *(drawn if arguments.machine is None else [arguments.machine]), *named]
        words += ["--seed", arguments.seed]
        words += [] if arguments.at is None else ["--at", arguments.at]
        words += [] if arguments.after is None else ["--after", arguments.after]
        words += [] if arguments.replay is None else ["--replay", arguments.replay]
        if arguments.fault is not None:
            words += ["--fault", f"{arguments.fault[0]}@{arguments.fault[1]:g}"]
        words += [OPTION] if arguments.cross_check else []
        yield (
            "the same with a record and a picture",
            _command(*words, "--out", f"rehearsal-{summary.machine}"),
        )
    if summary.outcome == "violated":
        yield "the shortest way to a violation", _command("prove", arguments.trial)
    verified = summary.outcome in ("finished", "limited_by_noise") and arguments.fault is None
    if verified and arguments.machine is not None and not trial.rehearsals_only:
        out = ["--out", f"export-{summary.machine}"]
        yield "take the C home", _command("export", arguments.machine, *named, *out)


def _command(*words: str | int) -> str:
    return shlex.join(["gainwright", *(str(word) for word in words)])


@contextmanager
def _progress(trial: Trial) -> Iterator[Progress]:
    """A bar per stage that climbs with its rung; nothing is drawn when piped."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("rung {task.completed:.0f} of {task.total:.0f}"),
        TextColumn("{task.fields[state]}"),
        TimeElapsedColumn(),
    )
    screen = console(to_error=True)
    with Progress(*columns, console=screen, disable=not screen.is_terminal, transient=True) as bars:
        tasks = [
            bars.add_task(stage.title, total=stage.rungs - 1, state="") for stage in trial.stages
        ]
        places = trial.index.outputs

        def update(log) -> None:  # type: ignore[no-untyped-def]
            if not len(log):
                return
            state = trial.states[int(log.state[-1])].name.replace("_", " ")
            for task, stage in zip(tasks, trial.stages, strict=True):
                rung = int(log.outputs[-1, places[stage.rung]])
                bars.update(task, completed=rung, state=state)

        yield update
