"""Compiled parts: C sources to a shared library or program, built once and kept per user.

Order of work: :mod:`compiler` finds a C compiler, :mod:`cache` keeps what was built under a digest
of everything that went in, :mod:`compilation` puts both together, :mod:`library` loads the result
with what the headers declare (:mod:`declarations`).
"""

from gainwright_codegen.host.compilation import (
    compile_program,
    compile_shared,
    flags_for,
    read_sources,
)
from gainwright_codegen.host.library import compile_and_load, load_library

__all__ = [
    "compile_and_load",
    "compile_program",
    "compile_shared",
    "flags_for",
    "load_library",
    "read_sources",
]
