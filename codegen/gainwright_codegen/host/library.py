"""Loads a compiled shared library through cffi (ABI mode: no compiler needed at this point)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

import cffi

from gainwright.errors import input_error
from gainwright_codegen.host.cache import DIRECTORY_VARIABLE
from gainwright_codegen.host.compilation import compile_shared
from gainwright_codegen.host.declarations import declarations


def compile_and_load(
    sources: Mapping[str, bytes | str],
    headers: Iterable[str],
    flags: Iterable[str] = (),
    *,
    name: str,
    also: str = "",
) -> tuple[cffi.FFI, Any]:
    """Compile sources to a library and load it with what some of the headers declare.

    Args:
        sources: C files by name.
        headers: names of those among them whose types and functions are to be seen.
        flags: of the compiler; what they define holds for the headers too.
        name: what the library is called in the cache.
        also: further declarations, of what no header knows.

    Raises:
        InputError: no compiler, or the sources do not compile, or a cache that cannot be used.
    """
    flags = tuple(flags)
    library = compile_shared(sources, flags, name=name)
    macros = [f[2:].replace("=", " ", 1) for f in flags if f.startswith("-D")]
    return load_library(library, declarations(sources, headers, macros) + also)


def load_library(build: Path, cdef: str) -> tuple[cffi.FFI, Any]:
    """Load a library made by :func:`compile_shared`.

    Args:
        build: path of the library.
        cdef: C declarations of what is used of it (``#include`` and macros are not understood).

    Returns:
        The ``cffi.FFI`` object (to make arrays and structures with) and the library.

    Raises:
        InputError: the system refuses to load the file.
    """
    ffi = _declared(cdef)
    try:
        return ffi, ffi.dlopen(str(build))
    except OSError as error:
        raise input_error(
            build,
            "",
            str(error),
            "a shared library that this system can load",
            f"set {DIRECTORY_VARIABLE} to a folder from which programs may run "
            "(not mounted noexec), or delete this file",
        ) from error


@cache
def _declared(cdef: str) -> cffi.FFI:
    """Return the types of declarations, which are parsed once for all libraries that share them."""
    ffi = cffi.FFI()
    ffi.cdef(cdef)
    return ffi
