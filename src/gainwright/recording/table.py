"""The three kinds of file behind one face: named arrays, read when asked for."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

import numpy as np

from gainwright.errors import InputError, input_error

_NAMES_SHOWN = 30


class Table(Protocol):
    """Named arrays of one file."""

    @property
    def file(self) -> Path:
        """Path of the file."""

    @property
    def shapes(self) -> Mapping[str, tuple[int, ...]]:
        """Every name in the file with its shape, in the order of the file."""

    def read(self, name: str) -> np.ndarray:
        """Return the array of a name that is in :attr:`shapes`; raises InputError."""

    def place(self, name: str, sample: int) -> str:
        """Return where a sample stands in the file, in words a user can follow."""


def describe_names(shapes: Mapping[str, tuple[int, ...]]) -> str:
    """Return the names with their shapes in one line, cut where there are very many."""
    if not shapes:
        return "no names at all"
    parts = [f"{name} {describe_shape(shape)}" for name, shape in shapes.items()]
    more = len(parts) - _NAMES_SHOWN
    return ", ".join(parts[:_NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")


def is_vector(shape: tuple[int, ...]) -> bool:
    """Whether at most one dimension is longer than one; MATLAB has no other vectors."""
    return sum(length != 1 for length in shape) <= 1


def describe_shape(shape: tuple[int, ...]) -> str:
    """Return the length of a vector, or the dimensions of anything else such as 400x2."""
    if is_vector(shape):
        return str(math.prod(shape))
    return "x".join(map(str, shape))


def not_readable(path: Path, found: str) -> InputError:
    """Return the error for a file whose content is not what its suffix says."""
    kinds = {
        ".csv": "UTF-8 text with a header row of names and numbers below",
        ".npz": "an archive of numeric arrays as numpy.savez writes it",
        ".mat": "a MATLAB file of version 4 to 7.2",
    }
    return input_error(
        path,
        "",
        found,
        kinds[path.suffix.lower()],
        "export the recording again, or name the file that was meant",
    )
