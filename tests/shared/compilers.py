"""The C compilers that the tests try, each skipped with the reason where it is missing."""

from __future__ import annotations

import importlib.util
import shutil
import sys

import pytest

SANITIZED = ("-fsanitize=undefined", "-fno-sanitize-recover=all")
"""Ends the process at the first undefined behaviour."""

ZIG = f'"{sys.executable}" -m ziglang cc'


def available(name: str) -> bool:
    if name == "zig":
        return importlib.util.find_spec("ziglang") is not None
    return shutil.which(name) is not None


def compiler_parameters(*names: str, slow: tuple[str, ...] = ()) -> list:
    """Return pytest parameters, one per compiler command; those of ``slow`` are slow tests.

    The compiler of the registry, which builds a C library of its own first, is among the slow tests
    where the system has one that everything else is compiled with.
    """
    return [
        pytest.param(
            ZIG if name == "zig" else name,
            id=name,
            marks=_marks(name, name in slow or (name == "zig" and available("cc"))),
        )
        for name in names
    ]


def _marks(name: str, slow: bool) -> list[pytest.MarkDecorator]:
    missing = pytest.mark.skipif(not available(name), reason=f"{name} is not installed")
    return [missing, pytest.mark.slow] if slow else [missing]
