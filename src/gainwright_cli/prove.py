"""``gainwright prove``: what is proved of a trial, by what, on which bytes, and what is not."""

from __future__ import annotations

import argparse
import difflib
import os
import shlex
import sys
import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from gainwright_cli.console import (
    DEFAULT_TRIAL,
    add_json_option,
    add_out_options,
    console,
    print_json,
    refuse,
    refuse_beside,
    refuse_without,
    trial_path,
)

if TYPE_CHECKING:
    from gainwright.language.model import Trial
    from gainwright_proof.evidence.conclusion import Conclusion
    from gainwright_proof.mutants.report import MutantReport
    from gainwright_proof.proving import Proof


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "trial",
        nargs="?",
        default=DEFAULT_TRIAL,
        metavar="TRIAL",
        help="trial specification, or the name of a shipped one (default: %(default)s)",
    )
    add_out_options(parser, "the evidence")
    parser.add_argument(
        "--solvers", action="store_true", help="let further SMT solvers recheck every obligation"
    )
    parser.add_argument(
        "--mutants",
        action="store_true",
        help="also try whether the requirements notice every single-row change of the trial",
    )
    parser.add_argument(
        "--only",
        metavar="REQUIREMENT",
        action="append",
        help="prove this requirement alone (may be repeated); no evidence is written",
    )
    parser.add_argument(
        "--quick", action="store_true", help="by exploration of the compiled C alone"
    )
    parser.add_argument(
        "--afresh",
        action="store_true",
        help="run every tool again, though its answer about the same bytes is known",
    )
    parser.add_argument(
        "--full",
        action="store_true",
        help="explore every value of every timer by itself (minutes, gigabytes); keeps no evidence",
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "--recheck", metavar="DIR", help="check evidence: is it whole, about this trial, and true?"
    )
    what.add_argument(
        "--replay", metavar="FILE", help="replay a counterexample in the reference and in the C"
    )
    what.add_argument(
        "--inserted-defects",
        action="store_true",
        help="insert known defects into tool and C, one by one: is each of them noticed?",
    )
    parser.add_argument(
        "--exported",
        metavar="DIR",
        help="with --recheck: an exported folder that must be the export, byte for byte",
    )
    parser.add_argument(
        "--machine",
        metavar="MACHINE",
        help="with --exported: the machine it was exported for, if it is not a shipped one",
    )
    parser.add_argument(
        "--after", metavar="RECORD", help="with --exported: the record that it was exported --after"
    )
    parser.add_argument(
        "--schedule",
        metavar="RECORD",
        help="with --exported: the record that it was exported with as --schedule",
    )
    add_json_option(parser)


def run(arguments: argparse.Namespace) -> int:
    from gainwright.described.text_file import read_toml
    from gainwright.language.load import trial_from_document

    _check_options(arguments)
    if arguments.inserted_defects:
        return _inserted_defects(arguments)
    path = trial_path(arguments.trial)
    document = read_toml(path)
    trial = trial_from_document(document, str(path))
    if arguments.recheck is not None:
        from gainwright_cli.proof_check import recheck

        with progress() as announce:
            return recheck(trial, document, arguments, announce)
    if arguments.replay is not None:
        from gainwright_cli.proof_check import replay

        return replay(trial, arguments)
    return _prove(_chosen(trial, arguments.only), document, arguments)


def _check_options(arguments: argparse.Namespace) -> None:
    """Refuse options that would do nothing."""
    exported = arguments.exported is not None
    refuse_without("--exported", exported, "--recheck", arguments.recheck is not None)
    for name in ("machine", "after", "schedule"):
        given = getattr(arguments, name) is not None
        refuse_without(f"--{name}", given, "--exported", exported)
    of_a_proof = {
        f"--{name}": bool(getattr(arguments, name))
        for name in ("out", "solvers", "mutants", "only", "quick", "afresh", "full")
    }
    for name in ("recheck", "replay", "inserted_defects"):
        option = f"--{name.replace('_', '-')}"
        refuse_beside(
            option, bool(getattr(arguments, name)), of_a_proof, "one of them",
            f"leave one out: {option} is no proof of its own",
        )  # fmt: skip
    refuse_beside(
        "--quick", arguments.quick, {"--afresh": arguments.afresh}, "one of them",
        "leave --afresh out: exploration is never remembered",
    )  # fmt: skip
    if arguments.only and (arguments.out or arguments.mutants):
        raise refuse(
            "--only", "--only beside --out or --mutants", "one of them",
            "evidence is about the whole trial: leave --only out",
        )  # fmt: skip
    if arguments.full and arguments.out is not None:
        raise refuse(
            "--full", "--full beside --out", "one of them",
            "evidence is found again as it was found, with waits folded: leave --full out",
        )  # fmt: skip
    if arguments.quick and arguments.solvers:
        raise refuse(
            "--quick", "--quick beside --solvers", "one of them",
            "quick means exploration alone, without any obligation for solvers",
        )  # fmt: skip


def _chosen(trial: Trial, names: Sequence[str] | None) -> Trial:
    if not names:
        return trial
    known = {requirement.id: requirement for requirement in trial.requirements}
    for name in names:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            raise refuse(
                "--only", f"the unknown requirement {name}", "a requirement of the trial",
                f"did you mean {near[0]}?" if near else "see `gainwright show`",
            )  # fmt: skip
    return replace(trial, requirements=tuple(known[name] for name in dict.fromkeys(names)))


def _prove(trial: Trial, source: Mapping[str, Any], arguments: argparse.Namespace) -> int:
    from gainwright.result_folder import check_result_folder
    from gainwright_proof.evidence.conclusion import conclude, exit_code, required_subjects
    from gainwright_proof.evidence.document import document_digest, evidence_document
    from gainwright_proof.evidence.folder import write_evidence
    from gainwright_proof.exploration import run_text
    from gainwright_proof.proving import exploration_counts, prove, tool_versions
    from gainwright_proof.second_reader import READERS_AGREE

    if arguments.out is not None:
        check_result_folder(arguments.out, force=arguments.force)
    with progress() as announce:
        proof = prove(
            trial,
            announce,
            arguments.solvers,
            quick=arguments.quick,
            full=arguments.full,
            afresh=arguments.afresh,
            document=None if arguments.only else source,
        )
    mutants = _mutants(trial) if arguments.mutants else None
    rows_noticed = mutants.rows_noticed() if mutants is not None else None
    document = evidence_document(
        trial,
        proof.exported,
        proof.findings,
        tool_versions(),
        exploration_counts(proof.exploration),
        mutants.as_json() if mutants is not None else None,
        rows_noticed,
    )
    if arguments.out is not None:
        runs = {subject: run_text(run) for subject, run in proof.runs.items()}
        write_evidence(arguments.out, document, proof.findings, runs, arguments.force)
    conclusions = conclude(proof.findings)
    required = required_subjects(trial)
    if arguments.only:
        required -= {READERS_AGREE}  # a file is read again as a whole
    code = exit_code(conclusions, required) or _mutants_code(mutants)
    if arguments.json:
        print_json({"digest": document_digest(document), **document})
    else:
        _print(proof, document_digest(document), mutants, arguments)
    return code


def _mutants(trial: Trial) -> MutantReport:
    from rich.progress import Progress

    from gainwright_proof.mutants.judge import judge_mutants

    screen = console(to_error=True)
    with Progress(console=screen, disable=not screen.is_terminal, transient=True) as bars:
        task = bars.add_task("single-row changes", total=None)
        return judge_mutants(
            trial, lambda done, total: bars.update(task, completed=done, total=total)
        )


def _mutants_code(report: MutantReport | None) -> int:
    """1 if a change gets through, 3 if one is undecided or has no reason in the file, else 0."""
    if report is None:
        return 0
    if report.survivors:
        return 1
    return 3 if report.undecided or report.without_reason else 0


def _print(
    proof: Proof, digest: str, mutants: MutantReport | None, arguments: argparse.Namespace
) -> None:
    from gainwright_cli.views.proof import one_way_text, render_conclusions, say
    from gainwright_proof.evidence.conclusion import conclude
    from gainwright_proof.evidence.document import ASSUMPTIONS
    from gainwright_proof.evidence.overview import overview
    from gainwright_proof.verdict import Verdict

    screen = console()
    conclusions = conclude(proof.findings)
    rows = mutants.rows_noticed() if mutants is not None else None
    render_conclusions(
        proof.trial, overview(proof.trial, proof.findings, rows), proof.findings, screen
    )
    for line in _exploration_lines(proof):
        say(screen, line)
    if mutants is not None:
        from gainwright_cli.views.mutants import render_mutants

        render_mutants(mutants, screen)
    counts = {v: sum(c.verdict is v for c in conclusions) for v in Verdict}
    say(screen, ", ".join(f"{count} {v.value}" for v, count in counts.items() if count))
    say(screen, one_way_text(conclusions))
    for what, value in ((f"trial {proof.trial.name}", proof.trial.digest), ("evidence", digest)):
        if not arguments.only:
            screen.print(f"{what}, digest\n  {value}", markup=False, soft_wrap=True)
    say(screen, "The proof takes from its environment:")
    for assumption in ASSUMPTIONS:
        say(screen, f"  - {assumption}")
    for line in _next_steps(proof, conclusions, arguments):
        screen.print(line, markup=False, soft_wrap=True)


def _next_steps(
    proof: Proof, conclusions: Sequence[Conclusion], arguments: argparse.Namespace
) -> Iterator[str]:
    """Yield what to do now: it fits the outcome, and repeats the options that were given."""
    from gainwright_proof.evidence.conclusion import what_is_open

    if arguments.only:
        yield "Next: prove the whole trial:"
        yield f"  {_command(arguments, '--out', 'evidence', only=False)}"
        return
    left = what_is_open(conclusions, proof.trial)
    if arguments.out is not None:
        yield f"Evidence: {arguments.out}"
    if left:
        more = f" and {len(left) - 3} more." if len(left) > 3 else "."
        text = f"This evidence cannot stamp an export, for: {', '.join(left[:3])}{more}"
        yield textwrap.fill(text, 80, break_long_words=False, break_on_hyphens=False)
        refuted = [name for name in proof.runs]
        if refuted and arguments.out is not None:
            run_file = f"{arguments.out}/counterexamples/{refuted[0].replace('/', '-')}.json"
            yield "Next: look at the first counterexample, tick by tick:"
            yield f"  gainwright prove {shlex.quote(arguments.trial)} --replay {run_file}"
        elif refuted:
            yield "Next: write the counterexamples, then replay them:"
            yield f"  {_command(arguments, '--out', 'evidence')}"
        elif arguments.quick:
            yield "Next: prove it in full, as a stamp asks:"
            yield f"  {_command(arguments, '--out', 'evidence', quick=False)}"
        else:
            yield "Next: correct the trial where it is open, and prove it again:"
            yield f"  {_command(arguments)}"
    elif arguments.out is None:
        yield "Next: keep the evidence:"
        yield f"  {_command(arguments, '--out', 'evidence')}"
    else:
        trial = "" if arguments.trial == DEFAULT_TRIAL else f" --trial {arguments.trial}"
        yield "Next: export with it:"
        yield f"  gainwright export MACHINE --out DIR --evidence {arguments.out}{trial}"


def _command(
    arguments: argparse.Namespace, *more: str, only: bool = True, quick: bool = True
) -> str:
    """Return the command as it was given, with more options."""
    words = ["gainwright", "prove", arguments.trial]
    words += [
        option
        for option, given in (
            ("--quick", arguments.quick and quick),
            ("--full", arguments.full and "--out" not in more),
            ("--solvers", arguments.solvers),
            ("--mutants", arguments.mutants),
            ("--afresh", arguments.afresh),
        )
        if given
    ]
    if only:
        words += [word for name in arguments.only or () for word in ("--only", name)]
    if arguments.out is not None and "--out" not in more:
        words += ["--out", arguments.out, *(["--force"] if arguments.force else [])]
    return shlex.join([*words, *more])


def _exploration_lines(proof: Proof) -> Iterator[str]:
    from gainwright_proof.proving import exploration_counts

    counts = exploration_counts(proof.exploration)
    if counts is None:
        yield f"exploration incomplete: {proof.exploration.stopped}"
        return
    states, kept = counts["reachable_states"], counts["states_kept"]
    yield (
        f"explored in full, timers too: {states:,} reachable states and "
        f"{counts['transitions']:,} transitions by {counts['step_calls']:,} calls of "
        f"gw_sequencer_step; {counts['memory_bytes'] / 1e6:,.0f} MB"
    )
    if kept < states:
        yield (
            f"waits folded: {kept:,} states are kept; {counts['timer_values_walked']:,} values of "
            "timers between them were walked through in the C (--full keeps them all)"
        )
    yield (
        f"tables: {counts['rows_taken']} of {counts['rows']} rows taken; of the conditions that "
        f"rows look at, {counts['row_conditions_deciding_alone']} of {counts['row_conditions']} "
        "were seen to decide alone (MC/DC)"
    )
    if "longest_run_ticks" in counts:
        seconds = counts["longest_run_ticks"] * proof.trial.tick_us * 1e-6
        yield f"longest possible trial: {counts['longest_run_ticks']:,} ticks ({seconds:,.0f} s)"


def _inserted_defects(arguments: argparse.Namespace) -> int:
    from gainwright_proof.inserted_defects.table import report

    return report(arguments.json)


@contextmanager
def progress() -> Iterator[Callable[[str, bool], None]]:
    """A line per method; with its time in a terminal, plainly when piped.

    An interrupt ends the process at once: threads in compiled code or beside a solver would be
    waited for otherwise. Nothing has been written then, as results are written after this.
    """
    try:
        with _bars() if sys.stderr.isatty() else _lines() as announce:
            yield announce
    except KeyboardInterrupt:
        sys.stdout.flush()
        print("gainwright: interrupted; nothing was written", file=sys.stderr, flush=True)
        os._exit(130)


@contextmanager
def _lines() -> Iterator[Callable[[str, bool], None]]:
    def announce(name: str, ended: bool) -> None:
        # One write with its line end: methods run side by side, each in a thread of its own.
        print(f"{name}: {'done' if ended else '...'}\n", end="", file=sys.stderr, flush=True)

    yield announce


@contextmanager
def _bars() -> Iterator[Callable[[str, bool], None]]:
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn(finished_text="+"), TextColumn("{task.description}"))
    with Progress(*columns, TimeElapsedColumn(), console=console(to_error=True)) as bars:
        tasks: dict[str, Any] = {}

        def announce(name: str, ended: bool) -> None:
            if ended:
                bars.update(tasks[name], completed=1)
            else:
                tasks[name] = bars.add_task(name, total=1)

        yield announce
