"""Runs ``spin`` and the verifier it makes, where it is installed."""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from gainwright_codegen.host import compile_program, read_sources
from gainwright_codegen.host.compiler import compilers
from gainwright_codegen.host.tool_run import ToolRun, run_tool
from gainwright_proof.remembered import digest_of_run, program_digest, remembered

_SEARCH = ("-std=gnu99", "-DSAFETY", "-DNOREDUCE", "-DNOFAIR", "-DNOBOUNDCHECK")
FLAGS = (*_SEARCH, "-O2")
"""The fastest exhaustive search of ``pan``: one process, so there is no order to reduce."""
QUICK_FLAGS = (*_SEARCH, "-O0")
"""The same search, compiled in less time than it takes to run a small model."""
BALANCED_FLAGS = (*_SEARCH, "-Og")
"""Between the two: a search of a minute takes less, with what compiling takes."""
_COUNT = r"([0-9.]+(?:e[+][0-9]+)?)"
"""From 100 million on, ``pan`` prints counts with eight digits and an exponent."""


class SpinError(Exception):
    """``spin`` or its verifier failed; the text says how."""


@dataclass(frozen=True, slots=True)
class SpinResult:
    """What the verifier found in a complete search."""

    stored_states: int
    transitions: int
    reported: tuple[str, ...]
    """Names of the assertions that failed, sorted: ``broken_<id>``, ``reached_<id>``,
    ``table_<state>``, ``taken_<row>``, ``seen_<requirement>_<premise>``."""
    seconds: float
    """Processor time of the search."""
    complete: bool
    """False if depth or memory was too small."""


def spin_version() -> str | None:
    """Return the version of the installed ``spin``; None if there is none."""
    if shutil.which("spin") is None:
        return None
    found = re.search(r"Version (\S+)", run_tool(["spin", "-V"], Path.cwd(), 20.0).output)
    return found.group(1) if found else None


def verify(
    model: str,
    *,
    depth: int,
    hash_bits: int = 24,
    memory_mb: int = 6000,
    flags: Iterable[str] = FLAGS,
) -> SpinResult:
    """Search a model completely.

    Args:
        model: Promela text.
        depth: longest path of the depth-first search, in steps.
        hash_bits: size of the hash table, 2**hash_bits entries.
        memory_mb: most memory the verifier may use.
        flags: for the compiler of the verifier.

    Raises:
        SpinError: no ``spin``, or it refuses the model, or the verifier crashes.
        InputError: the verifier cannot be compiled.
    """
    if (spin := shutil.which("spin")) is None:
        raise SpinError("spin is not installed")
    flags = (*flags, f"-DMEMLIM={memory_mb}")
    options = ("-c0", f"-m{depth}", f"-w{hash_bits}", "-n")
    compiler = next(compilers()).identity
    digest = digest_of_run(
        f"{program_digest(spin)} {compiler}", (*flags, *options), {"model.pml": model.encode()}
    )
    return _parsed(remembered(digest, lambda: _searched(model, flags, options)).output)


def _searched(model: str, flags: Sequence[str], options: Sequence[str]) -> ToolRun:
    """Make the verifier of a model and let it search."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder)
        (path / "model.pml").write_text(model, encoding="ascii")
        made = _run(["spin", "-a", "model.pml"], path).output
        if not (path / "pan.c").is_file() or "Error" in made:
            raise SpinError(made.strip())
        sources = read_sources(path, "pan.*")
    program = compile_program(sources, flags, name="pan")
    with tempfile.TemporaryDirectory() as folder:
        # What the verifier tells of its time is time by the clock.
        return _run([sys.executable, "-c", _TIMED, str(program), *options], Path(folder))


_TIMED = """
import resource, subprocess, sys
code = subprocess.run(sys.argv[1:]).returncode
print("processor time", resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime, flush=True)
sys.exit(code if code >= 0 else 128 - code)
"""


LIMIT_S = 600.0
"""Processor time of one run; spin's own limits are memory and depth."""


def _run(command: list[str], folder: Path) -> ToolRun:
    run = run_tool(command, folder, LIMIT_S)
    if run.exit_code is None:
        raise SpinError(f"{command[0]} was ended after {LIMIT_S:.0f} s")
    if run.exit_code < 0 or run.exit_code > 128:
        raise SpinError(f"{command[0]} ended by a signal, {run.exit_code}")
    return run


def _parsed(text: str) -> SpinResult:
    stored = re.search(_COUNT + " states, stored", text)
    transitions = re.search(_COUNT + " transitions", text)
    if stored is None or transitions is None:
        raise SpinError(text.strip()[-2000:])
    reported = set(
        re.findall(r"assertion violated .*?((?:broken|reached|table|taken|seen)_\w+)", text)
    )
    seconds = re.search(r"processor time ([0-9.e-]+)", text)
    incomplete = "max search depth too small" in text or "memory limit" in text
    return SpinResult(
        int(float(stored.group(1))),
        int(float(transitions.group(1))),
        tuple(sorted(reported)),
        float(seconds.group(1)) if seconds else 0.0,
        not incomplete,
    )
