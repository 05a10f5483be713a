"""Loads a compiled shared library through cffi (ABI mode: no compiler needed at this point)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cffi

from gainwright.errors import input_error
from gainwright_codegen.host.cache import DIRECTORY_VARIABLE


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
    ffi = cffi.FFI()
    ffi.cdef(cdef)
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
