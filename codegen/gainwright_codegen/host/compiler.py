"""Finds the C compilers of this machine, best first."""

from __future__ import annotations

import functools
import importlib.metadata
import importlib.util
import os
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass

from gainwright.errors import InputError, input_error

CHOICE_VARIABLE = "GAINWRIGHT_CC"
"""Environment variable that names the compiler for Gainwright alone; goes before ``CC``."""

SYSTEM_COMPILERS = ("cc", "gcc", "clang")
_ANSWER_S = 120.0
"""Wall time in which a compiler says its version."""
ZIG_COMMAND = (sys.executable, "-m", "ziglang", "cc")
COMMON_FLAGS = (
    "-O2",
    "-std=c99",
    # Contracting a*b+c to one rounding differs between targets; results must not.
    "-ffp-contract=off",
)
ZIG_FLAGS = (
    # Zig turns the undefined-behaviour sanitizer on by itself.
    "-fno-sanitize=undefined",
    # Zig aims at the processor it runs on; a cache on a shared home serves several.
    "-mcpu=baseline",
)


@dataclass(frozen=True, slots=True)
class Compiler:
    """A C compiler that can be started."""

    command: tuple[str, ...]
    identity: str
    """Command and version text: part of the key under which its products are kept."""
    is_zig: bool
    chosen_by: str
    """Environment variable that demanded it, empty if it was found."""

    @property
    def flags(self) -> tuple[str, ...]:
        """Flags that every compilation gets, before those of the caller."""
        return COMMON_FLAGS + (ZIG_FLAGS if self.is_zig else ())

    def __str__(self) -> str:
        return shlex.join(self.command)


def compilers() -> Iterator[Compiler]:
    """Yield the compilers to try, best first; each is only started when it is asked for.

    ``GAINWRIGHT_CC`` or else ``CC`` decides alone if set. Otherwise the system's own come first
    and that of the ``ziglang`` package last.

    Raises:
        InputError: the demanded compiler does not start, or there is none at all.
    """
    for variable in (CHOICE_VARIABLE, "CC"):
        text = os.environ.get(variable, "").strip()
        if text:
            yield _demanded(variable, text)
            return
    none_yet = True
    for name in SYSTEM_COMPILERS:
        if (path := shutil.which(name)) and (compiler := _probe((path,), "")):
            none_yet = False
            yield compiler
    if zig := _packaged_zig():
        yield zig
    elif none_yet:
        raise input_error(
            "C compiler",
            "",
            f"none of {', '.join(SYSTEM_COMPILERS)} and no ziglang package",
            "a C99 compiler",
            f"pip install ziglang (a compiler as a package), or name one in {CHOICE_VARIABLE}",
        )


def _demanded(variable: str, text: str) -> Compiler:
    try:
        command = tuple(shlex.split(text))
    except ValueError as error:
        raise _not_startable(variable, text, str(error)) from error
    compiler = _probe(command, variable) if command else None
    if compiler is None:
        raise _not_startable(variable, text, "it does not answer --version")
    return compiler


def _not_startable(variable: str, text: str, why: str) -> InputError:
    return input_error(
        "environment",
        variable,
        f"{text!r} ({why})",
        "the command of a C99 compiler",
        f"correct or unset {variable}; 'python -m ziglang cc' works where ziglang is installed",
    )


@functools.cache
def _probe(command: tuple[str, ...], variable: str) -> Compiler | None:
    """Return the compiler behind a command, None if it does not answer ``--version``."""
    try:
        answer = subprocess.run(
            [*command, "--version"], capture_output=True, text=True, errors="replace",
            timeout=_ANSWER_S, check=False,
        )  # fmt: skip
    except (OSError, subprocess.TimeoutExpired):
        return None
    if answer.returncode != 0:
        return None
    is_zig = any("zig" in part.lower() for part in (*command, answer.stdout))
    return Compiler(command, f"{shlex.join(command)}\n{answer.stdout}", is_zig, variable)


@functools.cache
def _packaged_zig() -> Compiler | None:
    if importlib.util.find_spec("ziglang") is None:
        return None
    version = importlib.metadata.version("ziglang")
    return Compiler(ZIG_COMMAND, f"ziglang {version} on {sys.platform}", True, "")
