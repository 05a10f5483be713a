"""Compiles a set of C sources, or finds the product of an earlier compilation."""

from __future__ import annotations

import hashlib
import logging
import platform
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path, PurePosixPath

from gainwright.errors import InputError, input_error
from gainwright_codegen.host import cache
from gainwright_codegen.host.compiler import CHOICE_VARIABLE, Compiler, compilers
from gainwright_codegen.host.tool_run import LIMIT_S, MEMORY_LIMIT_MB, run_tool

_LOG = logging.getLogger(__name__)
_ERROR_LINES = 40
_FEW_STEPS = 2_000_000
"""Steps of a sequencer, some 30 ns each, that are over before a compiler has optimised (0.5 s)."""
_OUT_OF_MEMORY = ("memory exhausted", "out of memory", "Cannot allocate memory")
"""What compilers say then."""
_PROBE = {
    "probe.c": b"#include <stdint.h>\nint32_t gw_probe(void);\n"
    b"int32_t gw_probe(void) { return 0; }\nint main(void) { return (int)gw_probe(); }\n"
}

if sys.platform == "win32":
    _SHARED_SUFFIX, _PROGRAM_SUFFIX, _SHARED_FLAGS = ".dll", ".exe", ("-shared",)
    _LIBRARIES: tuple[str, ...] = ()
else:
    _SHARED_SUFFIX, _PROGRAM_SUFFIX = ".dylib" if sys.platform == "darwin" else ".so", ""
    _SHARED_FLAGS, _LIBRARIES = ("-fPIC", "-shared"), ("-lm",)


def compile_shared(
    sources: Mapping[str, str | bytes], flags: Iterable[str] = (), name: str = "part"
) -> Path:
    """Compile C sources to a shared library and return its path in the per-user cache.

    Args:
        sources: text of each file by its relative name, ``/`` between folders. Files ending in
            ``.c`` are compiled, all others (headers) only lie beside; the top folder is on the
            include path.
        flags: further compiler flags, after ``-O2 -std=c99 -fPIC``; they may override those.
        name: what the library is, for its file name and messages.

    Raises:
        InputError: no compiler, a compilation that fails (with the compiler's text), or a cache
            that cannot be written; :class:`CompilerLimit` of one that takes too
            much time or memory.
    """
    return _compile(sources, (*_SHARED_FLAGS, *flags), name, name + _SHARED_SUFFIX)


def compile_program(
    sources: Mapping[str, str | bytes], flags: Iterable[str] = (), name: str = "program"
) -> Path:
    """Compile C sources to a program; arguments and errors as :func:`compile_shared`."""
    return _compile(sources, tuple(flags), name, name + _PROGRAM_SUFFIX)


def flags_for(steps: int) -> tuple[str, ...]:
    """Return flags for C that takes at most so many steps of a sequencer when it is run."""
    return ("-O0",) if steps <= _FEW_STEPS else ()


def read_sources(directory: Path, *patterns: str) -> dict[str, bytes]:
    """Return the files of a folder that match any of the glob patterns, by name, sorted."""
    found = sorted({path for pattern in patterns for path in directory.glob(pattern)})
    return {path.relative_to(directory).as_posix(): path.read_bytes() for path in found}


def _compile(
    sources: Mapping[str, str | bytes], flags: tuple[str, ...], name: str, product: str
) -> Path:
    files = {key: _as_bytes(text) for key, text in sorted(sources.items())}
    for key in files:
        path = PurePosixPath(key)
        if path.is_absolute() or ".." in path.parts or key.startswith("-"):
            raise ValueError(f"source name must be relative and plain: {key!r}")
    first_error: InputError | None = None
    for compiler in compilers():
        try:
            return _compile_with(compiler, files, flags, name, product)
        except _CompilationError as error:
            failure = _failure(name, compiler, error.text)
            # A compiler without its C library cannot even do the probe: the next one may.
            if compiler.chosen_by or _can_compile(compiler):
                raise failure from error
            first_error = first_error or failure
    assert first_error is not None
    raise first_error


def _compile_with(
    compiler: Compiler, files: Mapping[str, bytes], flags: tuple[str, ...], name: str, product: str
) -> Path:
    def build(folder: Path) -> None:
        _LOG.info("compiling %s with %s", name, compiler)
        for key, content in files.items():
            path = folder / key
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        _run(compiler, folder, [key for key in files if key.endswith(".c")], flags, product)

    entry = f"{name}-{_key(compiler, files, flags, product)}"
    return cache.obtain(entry, product, build)


class CompilerLimit(InputError):
    """A compilation took too much time or memory; the sources may be sound."""


class _CompilationError(Exception):
    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.text = text


def _run(
    compiler: Compiler, folder: Path, units: list[str], flags: tuple[str, ...], product: str
) -> None:
    command = [*compiler.command, *compiler.flags, "-I.", *flags, *units, "-o", product]
    # Names relative to the folder keep its random name out of the product.
    environment = cache.zig_environment() if compiler.is_zig else {}
    run = run_tool([*command, *_LIBRARIES], folder, LIMIT_S, environment=environment)
    if run.exit_code is None:
        raise _limit(product, compiler, f"no end after {LIMIT_S:g} s")
    if run.exit_code != 0 or not (folder / product).is_file():
        if any(words in run.output for words in _OUT_OF_MEMORY):
            raise _limit(product, compiler, f"more than {MEMORY_LIMIT_MB:,} MB of memory")
        raise _CompilationError(run.output.strip() or f"exit code {run.exit_code}")


def _limit(product: str, compiler: Compiler, found: str) -> CompilerLimit:
    error = input_error(
        f"C part {product!r}",
        f"compiled with {compiler}",
        found,
        "a compilation within that limit",
        f"let the computer do less beside it, or name another compiler in {CHOICE_VARIABLE}",
    )
    return CompilerLimit(error.problems)


def _can_compile(compiler: Compiler) -> bool:
    try:
        _compile_with(compiler, _PROBE, (), "probe", "probe" + _PROGRAM_SUFFIX)
    except _CompilationError:
        return False
    return True


def _key(
    compiler: Compiler, files: Mapping[str, bytes], flags: tuple[str, ...], product: str
) -> str:
    digest = hashlib.sha256()
    target = f"{sys.platform} {platform.machine()}"
    parts = [compiler.identity, target, product, *compiler.flags, *flags, *_LIBRARIES]
    for part in (*(_as_bytes(part) for part in parts), b"", *_flatten(files)):
        digest.update(len(part).to_bytes(8, "big") + part)
    return digest.hexdigest()[:40]


def _flatten(files: Mapping[str, bytes]) -> list[bytes]:
    return [part for key, content in files.items() for part in (key.encode(), content)]


def _as_bytes(text: str | bytes) -> bytes:
    return text.encode("utf-8") if isinstance(text, str) else text


def _failure(name: str, compiler: Compiler, text: str) -> InputError:
    lines = text.splitlines()
    shown = lines[:_ERROR_LINES]
    if len(lines) > _ERROR_LINES:
        shown.append(f"... {len(lines) - _ERROR_LINES} more lines")
    return input_error(
        f"C part {name!r}",
        f"compiled with {compiler}",
        "\n    ".join(shown),
        "a clean compilation",
        f"name another C99 compiler in {CHOICE_VARIABLE}, e.g. 'python -m ziglang cc'",
    )
