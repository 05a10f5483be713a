"""A bundle as a program of another processor, run by a user-mode emulator: what it prints."""

from __future__ import annotations

import hashlib
import importlib.util
import shutil
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from gainwright_codegen.crosscheck.image import SELF_TEST_FILE, compile_for
from gainwright_codegen.crosscheck.targets import UserTarget
from gainwright_codegen.crosscheck.workload import signals
from gainwright_codegen.host import compile_program

PROGRAM_FILE = "printed.c"
_FLAGS = ("-std=c99", "-O2")
_TIME_LIMIT_S = 600


@dataclass(frozen=True, slots=True)
class Printed:
    """What the program said."""

    failed_vectors: int
    digest: str
    """SHA-256 (hex) of all numbers."""


def missing(target: UserTarget) -> str:
    """Return what keeps a target from being tried, or an empty text."""
    if target.compiler == "ziglang":
        if importlib.util.find_spec("ziglang") is None:
            return "the package ziglang is not installed"
    elif shutil.which(target.compiler) is None:
        return f"{target.compiler} is not installed"
    return "" if shutil.which(target.emulator) else f"{target.emulator} is not installed"


def on_host(folder: Path, names: Sequence[str]) -> Printed:
    """Build the program for this computer and run it.

    Raises:
        InputError: no compiler, or the sources do not compile.
    """
    headers = [path.name for path in (*folder.glob("*.h"), *folder.glob("*.inc"))]
    # What the program includes must not be compiled by itself.
    sources = {name: (folder / name).read_bytes() for name in (*headers, *_units(names))}
    sources["bench.inc"] = (folder / "bench.c").read_bytes()
    program = (folder / PROGRAM_FILE).read_bytes().replace(b'"bench.c"', b'"bench.inc"')
    sources[PROGRAM_FILE] = program
    return _run([str(compile_program(sources, name="crosscheck-printed"))])


def on_target(folder: Path, names: Sequence[str], target: UserTarget) -> Printed:
    """Build the program for a target and run it under its emulator.

    Raises:
        InputError: the compiler does not accept the sources.
    """
    product = str(folder / f"printed-{target.emulator}")
    command = [target.compiler, *target.flags]
    if target.compiler == "ziglang":
        command = [sys.executable, "-m", "ziglang", "cc", *target.flags]
    words = [*command, *_FLAGS, "-static", "-I.", *_units(names), PROGRAM_FILE, "-o", product]
    compile_for(target.name, words, folder)
    return _run([target.emulator, product])


def _units(names: Sequence[str]) -> list[str]:
    return [name for name in names if name != SELF_TEST_FILE]


def _run(command: Sequence[str]) -> Printed:
    given = "".join(f"{torque} {error}\n" for torque, error in signals())
    done = subprocess.run(
        command, input=given, capture_output=True, text=True, timeout=_TIME_LIMIT_S, check=False
    )
    failed, _, rest = done.stdout.partition("\n")
    digest = hashlib.sha256(f"{done.returncode}\n{rest}".encode()).hexdigest()
    return Printed(int(failed) if failed.isdigit() else 1, digest)
