"""Opens a recording by its suffix, after a look at whether it is a file at all."""

from __future__ import annotations

import difflib
from pathlib import Path

from gainwright.errors import input_error
from gainwright.recording.csv_table import CsvTable
from gainwright.recording.npz_table import NpzTable
from gainwright.recording.table import Table

SUFFIXES = (".csv", ".npz", ".mat")


def open_table(path: str | Path) -> Table:
    """Open a recording by its suffix.

    Raises:
        InputError: a file that is missing, a folder, empty, unreadable, of another kind, or broken.
    """
    path = Path(path)
    _check_file(path)
    suffix = path.suffix.lower()
    if suffix == ".csv":
        return CsvTable(path)
    if suffix == ".npz":
        return NpzTable(path)
    from gainwright.recording.mat_table import MatTable  # here, as scipy takes long to import

    return MatTable(path)


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
