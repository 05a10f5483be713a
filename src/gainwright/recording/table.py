"""The three kinds of file behind one face: named arrays, read when asked for."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

import numpy as np

from gainwright.errors import InputError, input_error

SUFFIXES = (".csv", ".npz", ".mat")
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


def open_table(path: str | Path) -> Table:
    """Open a recording by its suffix.

    Raises:
        InputError: a file that is missing, a folder, empty, unreadable, of another kind, or broken.
    """
    path = Path(path)
    _check_file(path)
    suffix = path.suffix.lower()
    if suffix == ".csv":
        from gainwright.recording.csv_table import CsvTable

        return CsvTable(path)
    if suffix == ".npz":
        from gainwright.recording.npz_table import NpzTable

        return NpzTable(path)
    from gainwright.recording.mat_table import MatTable  # here, as scipy takes long to import

    return MatTable(path)


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


def _check_file(path: Path) -> None:
    expected = f"a recording: {', '.join(SUFFIXES)}"
    try:
        if path.is_dir():
            raise input_error(path, "", "a folder", expected, _file_hint(path, "name a file in it"))
        if path.suffix.lower() not in SUFFIXES:
            found = f"suffix {path.suffix!r}" if path.suffix else "no suffix"
            remedy = "export the recording as CSV with a header row, .npz or .mat"
            raise input_error(path, "", found, expected, remedy)
        if path.exists() and not path.is_file():
            raise input_error(path, "", "a device or pipe", expected, "store it in a file first")
        with path.open("rb") as file:
            empty = not file.read(1)
    except (OSError, ValueError) as error:  # ValueError: a name with a null character
        remedy = _file_hint(path, "check the name and the right to read it")
        found = getattr(error, "strerror", None) or str(error)
        raise input_error(path, "", found, expected, remedy) from error
    if empty:
        raise input_error(path, "", "an empty file", expected, "record or export it again")


def _file_hint(path: Path, otherwise: str) -> str:
    """Name files that may have been meant: in the folder itself, or of a similar name beside it."""
    try:
        folder = path if path.is_dir() else path.parent
        names = sorted(f.name for f in folder.iterdir() if f.suffix.lower() in SUFFIXES)
    except (OSError, ValueError):
        return otherwise
    near = names[:5] if folder == path else difflib.get_close_matches(path.name, names, 3, 0.7)
    return f"{otherwise}; there is {', '.join(near)}" if near else otherwise
