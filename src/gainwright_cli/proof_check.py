"""Evidence, exported folders and counterexamples held against what comes out now."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gainwright.errors import input_error
from gainwright_cli.console import console, print_json
from gainwright_cli.export_inputs import to_export

if TYPE_CHECKING:
    from gainwright.language.model import Trial
    from gainwright_proof.evidence.conclusion import Conclusion
    from gainwright_proof.evidence.folder import Evidence
    from gainwright_proof.verdict import Finding

Announce = Callable[[str, bool], None]


def matching_evidence(
    directory: str, trial: Trial, document: Mapping[str, Any], announce: Announce
) -> tuple[Evidence, list[str]]:
    """Return evidence that everything a stamp needs is proved of this trial and its C, and the
    methods in it that were not asked again: what they say is taken from it.

    The C is explored again and must give what the evidence says; induction is asked again only
    where exploration alone would not be enough.

    Raises:
        InputError: it is not whole, about something else, says more than was found again, or
            leaves open what is required.
    """
    from gainwright_proof.evidence.check import (
        check_against,
        check_count,
        check_obligations,
        check_stamps,
        taken_as_said,
    )
    from gainwright_proof.evidence.conclusion import conclude, what_is_open
    from gainwright_proof.proving import prove_again

    evidence = _read(directory, trial)
    again = prove_again(trial, document, induction=False, announce=announce)
    check_against(directory, evidence, again.findings, again.exploration)
    check_count(directory, evidence, again.short_wait_states)
    if what_is_open(conclude(again.findings), trial, to_stamp=False):
        again = prove_again(trial, document, induction=True, announce=announce)
        check_against(directory, evidence, again.findings, again.exploration)
        check_obligations(directory, evidence, again.obligations)
        found = conclude([*again.findings, *(again.induction or ())])
        check_stamps(directory, found, trial, to_stamp=False)
    return evidence, taken_as_said(evidence, [*again.findings, *(again.induction or ())])


def stated_conclusions(directory: str, trial: Trial) -> tuple[Conclusion, ...]:
    """Return what whole evidence about this trial and its C says; InputError otherwise."""
    from gainwright_proof.evidence.check import check_document

    return check_document(directory, _read(directory, trial, must_stamp=False), trial)


def _read(directory: str, trial: Trial, must_stamp: bool = True) -> Evidence:
    from gainwright_codegen.bundle.stamp import proved_sources
    from gainwright_proof.evidence.check import check_document, check_stamps
    from gainwright_proof.evidence.folder import check_belongs, read_evidence

    evidence = read_evidence(directory)
    check_belongs(directory, evidence, trial, proved_sources(trial))
    conclusions = check_document(directory, evidence, trial)
    if must_stamp:
        check_stamps(directory, conclusions, trial)
    return evidence


def recheck(
    trial: Trial, document: Mapping[str, Any], arguments: argparse.Namespace, announce: Announce
) -> int:
    """Check evidence, and by choice an exported folder; return the exit code."""
    from gainwright_proof.evidence.check import (
        check_against,
        check_count,
        check_obligations,
        stated_findings,
    )
    from gainwright_proof.evidence.conclusion import conclude, exit_code, what_is_open
    from gainwright_proof.proving import prove_again, recheck_obligations
    from gainwright_proof.verdict import Verdict

    evidence = _read(arguments.recheck, trial, must_stamp=False)
    if arguments.exported is not None:
        _check_exported(arguments, trial, evidence.digest)
    induction = bool(evidence.obligations)
    stated = stated_findings(evidence.document)
    by_tools = {f.method for f in stated if _by_a_tool(f) and f.verdict is not Verdict.NOT_RUN}
    again = prove_again(trial, document, induction, announce, tools=bool(by_tools))
    # Another version of a tool is another method: what it says here says nothing of the evidence.
    found = [f for f in again.findings if not _by_a_tool(f) or f.method in by_tools]
    if induction:
        check_obligations(arguments.recheck, evidence, again.obligations)
        found += again.induction or ()
    check_against(arguments.recheck, evidence, found, again.exploration)
    check_count(arguments.recheck, evidence, again.short_wait_states)
    not_repeated = sorted(by_tools - {finding.method for finding in found})
    solved = recheck_obligations(evidence.obligations, announce) if induction else []
    left = what_is_open(conclude(stated), trial)
    _report(evidence, solved, left, trial, arguments, not_repeated)
    ran = [finding for finding in solved if finding.verdict is not Verdict.NOT_RUN]
    code = exit_code(conclude(ran)) if evidence.obligations else 0
    return code or (3 if left else 0)


def _by_a_tool(finding: Finding) -> bool:
    """Return whether a tool found it that need not be installed, by itself."""
    from gainwright_proof.methods import OF_C_SOURCE, SPIN, family

    return family(finding.method) in (*OF_C_SOURCE, SPIN)


def _report(
    evidence: Evidence,
    solved: list[Finding],
    left: list[str],
    trial: Trial,
    arguments: argparse.Namespace,
    not_repeated: list[str],
) -> None:
    if arguments.json:
        print_json(
            {
                "evidence": arguments.recheck,
                "digest": evidence.digest,
                "trial_digest": trial.digest,
                "proved": not left,
                "open": left,
                "obligations": len(evidence.obligations),
                "not_repeated": not_repeated,
                "solvers": {finding.method: finding.verdict.value for finding in solved},
            }
        )
        return
    screen = console()
    screen.print(f"{arguments.recheck}: whole, about trial {trial.name} and this C", markup=False)
    screen.print("  findings, counts and obligations came out the same again", markup=False)
    for method in not_repeated:
        screen.print(f"  not repeated, as it is not installed here: {method}", markup=False)
    for finding in solved:
        screen.print(f"  {finding.method}: {finding.verdict.value}: {finding.detail}", markup=False)
    if arguments.exported is not None:
        screen.print(f"{arguments.exported}: the export, byte for byte, with this stamp")
    if left:
        screen.print(f"  not everything is proved: {', '.join(left[:5])}", markup=False)


def _check_exported(arguments: argparse.Namespace, trial: Trial, digest: str) -> None:
    """Raise InputError unless a folder is what the exporter writes with this evidence."""
    from gainwright_codegen.bundle.axis import axis_bundle
    from gainwright_codegen.bundle.stamp import check_exported_folder
    from gainwright_sim.machine import load_machine

    name = arguments.machine
    machine = load_machine(_machine_named_in(arguments.exported) if name is None else name)
    axis, schedules = to_export(trial, machine, arguments.after, arguments.schedule)
    bundle = axis_bundle(trial, axis, digest, schedules)
    check_exported_folder(arguments.exported, bundle.files)


def _machine_named_in(folder: str) -> str:
    """Return the machine that an exported folder says it is for; its bytes are compared later."""
    headers = sorted(Path(folder).glob("gw_machine_*.h"))
    path = headers[0] if headers else Path(folder) / "gw_machine_NAME.h"
    try:
        text = path.read_text(encoding="ascii", errors="replace")
    except OSError as error:
        raise input_error(
            path, "", error.strerror or str(error), "an exported folder",
            "name a folder made by `gainwright export`",
        ) from error  # fmt: skip
    found = re.search(r'#define GW_\w+_NAME "([^"]+)"', text)
    if found is None:
        raise input_error(
            path, "#define GW_..._NAME", "no such line", "the name of the machine",
            "name the machine with --machine",
        )  # fmt: skip
    return found[1]


def replay(trial: Trial, arguments: argparse.Namespace) -> int:
    """Replay a counterexample; 0 if it shows what it says."""
    from gainwright_cli.views.proof import render_trace, render_violation
    from gainwright_proof.exploration import confirms, read_run, replay_run
    from gainwright_proof.replay import replay as traced

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
        return 0 if shown else 1
    screen = console()
    trace = traced(trial, recorded.inputs_by_tick())
    render_trace(trace, screen)
    render_violation(trial, recorded.subject, trace, screen)
    screen.print(
        f"{recorded.subject}: {recorded.shows}\n"
        f"reference and compiled C agree on all {outcome.ticks} ticks; the run "
        + ("shows what it says" if shown else "does NOT show what it says"),
        markup=False,
    )
    return 0 if shown else 1
