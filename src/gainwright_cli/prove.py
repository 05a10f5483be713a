"""``gainwright prove``: what is proved of a trial, by what, on which bytes, and what is not."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from gainwright_cli.console import DEFAULT_TRIAL, add_json_option, console, print_json, trial_path

if TYPE_CHECKING:
    from gainwright.language.model import Trial
    from gainwright_proof.evidence.folder import Evidence
    from gainwright_proof.mutants.report import MutantReport
    from gainwright_proof.proving import Proof
    from gainwright_proof.verdict import Finding


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "trial",
        nargs="?",
        default=DEFAULT_TRIAL,
        metavar="TRIAL",
        help="trial specification, or the name of a shipped one (default: %(default)s)",
    )
    parser.add_argument("--out", metavar="DIR", help="folder for the evidence")
    parser.add_argument(
        "--solvers", action="store_true", help="let further SMT solvers recheck every obligation"
    )
    parser.add_argument(
        "--mutants",
        action="store_true",
        help="also try whether the requirements notice every single-row change of the trial",
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "--recheck", metavar="DIR", help="check evidence: is it whole, about this trial, and true?"
    )
    what.add_argument(
        "--replay", metavar="FILE", help="replay a counterexample in the reference and in the C"
    )
    parser.add_argument(
        "--exported", metavar="DIR", help="with --recheck: an exported folder that must match"
    )
    add_json_option(parser)


def run(arguments: argparse.Namespace) -> int:
    from gainwright.described.text_file import read_toml
    from gainwright.language.load import trial_from_document

    path = trial_path(arguments.trial)
    document = read_toml(path)
    trial = trial_from_document(document, str(path))
    if arguments.recheck is not None:
        return _recheck(trial, arguments)
    if arguments.replay is not None:
        return _replay(trial, arguments)
    return _prove(trial, document, arguments)


def _prove(trial: Trial, source: Mapping[str, Any], arguments: argparse.Namespace) -> int:
    from gainwright_proof.evidence.conclusion import conclude, exit_code, required_subjects
    from gainwright_proof.evidence.document import document_digest, evidence_document
    from gainwright_proof.evidence.folder import write_evidence
    from gainwright_proof.exploration import run_text
    from gainwright_proof.proving import exploration_counts, prove, tool_versions

    with _progress() as announce:
        proof = prove(trial, announce, arguments.solvers, document=source)
    mutants = _mutants(trial) if arguments.mutants else None
    document = evidence_document(
        trial,
        proof.exported,
        proof.findings,
        tool_versions(),
        exploration_counts(proof.exploration),
        mutants.as_json() if mutants is not None else None,
    )
    if arguments.out is not None:
        runs = {subject: run_text(run) for subject, run in proof.runs.items()}
        write_evidence(arguments.out, document, proof.findings, runs)
    conclusions = conclude(proof.findings)
    code = exit_code(conclusions, required_subjects(trial)) or _mutants_code(mutants)
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
    from gainwright_cli.views.proof import render_conclusions
    from gainwright_proof.evidence.conclusion import conclude
    from gainwright_proof.evidence.document import ASSUMPTIONS
    from gainwright_proof.verdict import Verdict

    screen = console()
    conclusions = conclude(proof.findings)
    render_conclusions(proof.trial, conclusions, proof.findings, screen)
    for line in _exploration_lines(proof):
        screen.print(line, markup=False)
    if mutants is not None:
        from gainwright_cli.views.mutants import render_mutants

        render_mutants(mutants, screen)
    counts = {v: sum(c.verdict is v for c in conclusions) for v in Verdict}
    screen.print(
        ", ".join(f"{count} {v.value}" for v, count in counts.items() if count), markup=False
    )
    screen.print(f"trial {proof.trial.name}, digest {proof.trial.digest}", markup=False)
    screen.print(f"evidence digest {digest}", markup=False)
    screen.print("The proof takes from its environment:", markup=False)
    for assumption in ASSUMPTIONS:
        screen.print(f"  - {assumption}", markup=False)
    if arguments.out is None:
        screen.print(
            f"Next: keep the evidence:\n  gainwright prove {arguments.trial} --out evidence",
            markup=False,
        )
    else:
        screen.print(
            f"Evidence: {arguments.out}\nNext: export with it:\n"
            f"  gainwright export MACHINE --out DIR --evidence {arguments.out}",
            markup=False,
        )


def _exploration_lines(proof: Proof) -> Iterator[str]:
    from gainwright_proof.proving import exploration_counts

    counts = exploration_counts(proof.exploration)
    if counts is None:
        yield f"exploration incomplete: {proof.exploration.stopped}"
        return
    states = counts["reachable_states"]
    yield (
        f"explored {states:,} reachable states and {counts['transitions']:,} transitions by "
        f"{counts['step_calls']:,} calls of the exported step; "
        f"{counts['memory_bytes'] / states:.0f} bytes a state, timers in full"
    )
    yield (
        f"tables: {counts['rows_taken']} of {counts['rows']} rows taken; of the conditions that "
        f"rows look at, {counts['row_conditions_deciding_alone']} of {counts['row_conditions']} "
        "were seen to decide alone (MC/DC)"
    )
    if "longest_run_ticks" in counts:
        seconds = counts["longest_run_ticks"] * proof.trial.tick_us * 1e-6
        yield f"longest possible trial: {counts['longest_run_ticks']:,} ticks ({seconds:,.0f} s)"


def _recheck(trial: Trial, arguments: argparse.Namespace) -> int:
    from gainwright_codegen.bundle.stamp import check_exported_folder, proved_sources
    from gainwright_proof.evidence.folder import check_belongs, read_evidence
    from gainwright_proof.proving import recheck_obligations

    evidence = read_evidence(arguments.recheck)
    check_belongs(arguments.recheck, evidence, trial, proved_sources(trial))
    if arguments.exported is not None:
        check_exported_folder(arguments.exported, trial)
    with _progress() as announce:
        findings = recheck_obligations(evidence.obligations, announce)
    return _report_recheck(evidence, findings, trial, arguments)


def _report_recheck(
    evidence: Evidence, findings: list[Finding], trial: Trial, arguments: argparse.Namespace
) -> int:
    from gainwright_proof.evidence.conclusion import conclude, exit_code
    from gainwright_proof.verdict import Verdict

    ran = [finding for finding in findings if finding.verdict is not Verdict.NOT_RUN]
    if arguments.json:
        print_json(
            {
                "evidence": arguments.recheck,
                "digest": evidence.digest,
                "trial_digest": trial.digest,
                "proved": evidence.proved,
                "obligations": len(evidence.obligations),
                "solvers": {finding.method: finding.verdict.value for finding in findings},
            }
        )
    else:
        screen = console()
        screen.print(
            f"{arguments.recheck}: whole, about trial {trial.name} and this C", markup=False
        )
        for finding in findings:
            screen.print(
                f"  {finding.method}: {finding.verdict.value}: {finding.detail}", markup=False
            )
        if not evidence.proved:
            screen.print("  the evidence itself says that not everything is proved", markup=False)
    code = exit_code(conclude(ran))
    return 3 if code == 0 and not evidence.proved else code


def _replay(trial: Trial, arguments: argparse.Namespace) -> int:
    from gainwright_cli.views.proof import render_trace
    from gainwright_proof.exploration import confirms, read_run, replay_run
    from gainwright_proof.replay import replay

    recorded = read_run(arguments.replay, trial)
    outcome = replay_run(trial, recorded)
    shown = confirms(trial, recorded, outcome)
    if arguments.json:
        print_json(
            {
                "subject": recorded.subject,
                "ticks": outcome.ticks,
                "confirmed": shown,
                "final_state": outcome.final.state,
                "violations": [violation.requirement_id for violation in outcome.violations],
            }
        )
    else:
        screen = console()
        render_trace(replay(trial, recorded.inputs_by_tick()), screen)
        screen.print(
            f"{recorded.subject}: {recorded.shows}\n"
            f"reference and compiled C agree on all {outcome.ticks} ticks; the run "
            + ("shows what it says" if shown else "does NOT show what it says"),
            markup=False,
        )
    return 0 if shown else 1


@contextmanager
def _progress() -> Iterator[Callable[[str, bool], None]]:
    """A line per method with its time; nothing is drawn when piped."""
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    screen = console(to_error=True)
    columns = (SpinnerColumn(finished_text="+"), TextColumn("{task.description}"))
    with Progress(
        *columns, TimeElapsedColumn(), console=screen, disable=not screen.is_terminal
    ) as bars:
        tasks: dict[str, Any] = {}

        def announce(name: str, ended: bool) -> None:
            if ended:
                bars.update(tasks[name], completed=1)
            else:
                tasks[name] = bars.add_task(name, total=1)

        yield announce
