"""Runs of the exported functions on random values under the undefined-behaviour sanitizer.

A run proves nothing about what it did not execute; it is here because it shares no assumption with
the other methods: the real compiler, the real machine.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path

from gainwright.errors import InputError
from gainwright_codegen.host.compiler import Compiler, compilers
from gainwright_codegen.host.tool_run import ToolRun, run_tool
from gainwright_proof.c_checks import plain_reference
from gainwright_proof.c_checks.defects import MASKED_INPUTS, ROW_INDEX, SQUARE, Defect
from gainwright_proof.c_checks.report import Outcome, Task, Wait, all_noticed, finding, not_run
from gainwright_proof.methods import SANITIZERS
from gainwright_proof.verdict import Finding, Verdict

ROUNDS = 100_000
"""Calls of each part, and ticks of a life from reset on."""
_SUBJECT = "sanitized_runs"
_PROGRAM = "run_random"
_FILES = (
    "run_random.c",
    "any_random.c",
    "check_step.c",
    "check_specified.c",
    plain_reference.FILE,
    "gw_sequencer.c",
    "gw_trial.c",
)
_AXIS_FILES = (
    "check_axis.c",
    "check_highpass.c",
    "check_detector.c",
    "any_structs.c",
    "check_evidence.c",
    "gw_axis.c",
    "gw_axis_control.c",
    "gw_detector.c",
    "gw_evidence.c",
    "gw_loop_crossings.c",
    "gw_loop_margins.c",
    "gw_loop_response.c",
    "gw_loop_transform.c",
    "gw_machine.c",
)
_SEED = re.compile(r", seed (\d+),")
_SANITIZERS = ("undefined,address", "undefined")
"""The first that the compiler can link; without addresses, indices behind pointers go unseen."""


@dataclass(frozen=True, slots=True)
class _Builder:
    compiler: Compiler
    sanitizers: str

    def __str__(self) -> str:
        first = self.compiler.identity.splitlines()[-1 if self.compiler.is_zig else 1]
        return f"{first.strip()}, -fsanitize={self.sanitizers}"


def sanitized_runs(pool: Executor, task: Task) -> Wait:
    """Start building and running; see :class:`gainwright_proof.c_checks.report.Method`."""
    future = pool.submit(_findings, task)
    return future.result


def _findings(task: Task) -> list[Finding]:
    try:
        builder = _builder(task)
    except InputError:
        return [not_run(_SUBJECT, SANITIZERS, "no C compiler is installed")]
    if builder is None:
        return [not_run(_SUBJECT, SANITIZERS, "no installed C compiler links a sanitizer")]
    method = f"{SANITIZERS} ({builder})"
    built = _build(task, builder, task.workspace.folder)
    if built.exit_code != 0:
        outcome = Outcome(Verdict.UNFINISHED, f"it does not compile: {built.last_line}", {})
        return [finding(_SUBJECT, method, "random calls of each function", outcome, [])]
    sound = _run(task, builder, task.workspace.folder, "all", ROUNDS)
    defects = _visible_defects(task, builder)
    return [
        finding(
            _SUBJECT,
            method,
            _claim(task.seed),
            _outcome(sound),
            [(defect, _missed(task, builder, defect)) for defect in defects],
        )
    ]


def _claim(seed: int) -> str:
    return (
        f"{ROUNDS} random calls of each function from promised states and {ROUNDS} ticks from "
        f"reset on, seed {seed}, without a report (a run, no proof)"
    )


def restated(stated: Finding) -> Iterator[Finding]:
    """Yield what is written where runs of the sequencer reported nothing."""
    seed = _SEED.search(stated.detail)
    defects = _seen_by(stated.method, has_machine=False)
    claim, nothing = _claim(int(seed[1]) if seed else 0), _outcome(ToolRun("", 0))
    yield finding(_SUBJECT, stated.method, claim, nothing, all_noticed(defects))


def _outcome(run: ToolRun) -> Outcome:
    figures = {"rounds": ROUNDS}
    if run.exit_code == 0:
        return Outcome(Verdict.TESTED, "nothing was reported", figures)
    if run.exit_code is None:
        return Outcome(Verdict.UNFINISHED, "the time limit was reached", figures)
    return Outcome(Verdict.REFUTED, _first_report(run), figures)


def _first_report(run: ToolRun) -> str:
    marks = ("runtime error", "ERROR: AddressSanitizer", "checked range")
    lines = [line for line in run.output.splitlines() if any(mark in line for mark in marks)]
    return lines[0].strip() if lines else f"exit code {run.exit_code}: {run.last_line}"


def _builder(task: Task) -> _Builder | None:
    """Return the first compiler that links a sanitizer; InputError without any compiler."""
    for compiler in compilers():
        for sanitizers in _SANITIZERS:
            builder = _Builder(compiler, sanitizers)
            if _links(task, builder):
                return builder
    return None


def _links(task: Task, builder: _Builder) -> bool:
    """Try with a program of nothing, so that C which does not compile is not taken for a compiler
    without sanitizers."""
    folder = task.workspace.folder
    (folder / "nothing.c").write_text("int main(void) { return 0; }\n", encoding="ascii")
    checks = f"-fsanitize={builder.sanitizers}"
    command = [*builder.compiler.command, checks, "nothing.c", "-o", "nothing"]
    return run_tool(command, folder, task.limit_s).exit_code == 0


def _build(task: Task, builder: _Builder, folder: Path) -> ToolRun:
    files: Sequence[str] = _FILES
    defines: Sequence[str] = ()
    if task.workspace.has_machine:
        files, defines = (*_FILES, *_AXIS_FILES), ("-DGW_CHECK_MACHINE",)
    checks = (f"-fsanitize={builder.sanitizers}", "-fno-sanitize-recover=all")
    command = [*builder.compiler.command, "-std=c99", "-O1", *checks, *defines, "-I."]
    return run_tool([*command, *files, "-o", _PROGRAM], folder, task.limit_s)


def _run(task: Task, builder: _Builder, folder: Path, part: str, rounds: int) -> ToolRun:
    program = folder / _PROGRAM
    command = [str(program), part, str(rounds), str(task.seed)]
    # Shadow memory is reserved, not used.
    return run_tool(command, folder, task.limit_s, memory_mb=None)


def _visible_defects(task: Task, builder: _Builder) -> list[Defect]:
    return _seen_by(builder.sanitizers, task.workspace.has_machine)


def _seen_by(sanitizers: str, has_machine: bool) -> list[Defect]:
    """A few kinds of defect are enough here: another value, arithmetic, and an index if addresses
    are watched."""
    defects = [MASKED_INPUTS, *([SQUARE] if has_machine else [])]
    return [*defects, ROW_INDEX] if "address" in sanitizers else defects


def _missed(task: Task, builder: _Builder, defect: Defect) -> str | None:
    try:
        folder = task.workspace.with_defects((defect,))
    except LookupError as error:
        return str(error)
    if _build(task, builder, folder).exit_code != 0:
        return "it does not compile"
    run = _run(task, builder, folder, defect.reached_by, ROUNDS)
    return None if run.exit_code not in (0, None) else "nothing was reported"
