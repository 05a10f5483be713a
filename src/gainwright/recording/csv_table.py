"""Comma-separated text with one header row of names; semicolon and tab are accepted too."""

from __future__ import annotations

import csv
import itertools
from pathlib import Path

import numpy as np

from gainwright.errors import InputError, input_error
from gainwright.recording.table import not_readable

_DELIMITERS = (",", ";", "\t")
_CELL_SHOWN = 40
_ROWS_LOOKED_AT = 1000
_DECIMAL_COMMAS = (
    "the file has decimal commas: export it with decimal points, or replace them, e.g. with: "
    "sed 's/,/./g' (after choosing semicolons between the cells)"
)
_NO_TEXT = "bytes that are no UTF-8 text"


class CsvTable:
    """Columns of a CSV file; the header is read at once, a column when it is asked for."""

    def __init__(self, path: Path) -> None:
        self.file = path
        header = self._first_line()
        self._delimiter = max(_DELIMITERS, key=header.count)
        self._names = [
            cell.strip() for cell in next(csv.reader([header], delimiter=self._delimiter))
        ]
        self._check_header()
        self._check_width()
        rows = self._count_rows()
        self.shapes = {name: (rows,) for name in self._names}

    def read(self, name: str) -> np.ndarray:
        """Return one column as floats."""
        if self.shapes[name] == (0,):
            return np.empty(0)
        column = self._names.index(name)
        try:
            return np.loadtxt(
                self.file,
                delimiter=self._delimiter,
                comments=None,
                quotechar='"',
                skiprows=1,
                usecols=column,
                ndmin=1,
                encoding="utf-8-sig",
            )
        except (ValueError, IndexError) as error:
            raise self._bad_cell(name, column, str(error)) from error

    def place(self, name: str, sample: int) -> str:
        """Return column and row; the header is row 1."""
        return f"column {name}, row {sample + 2}"

    def _first_line(self) -> str:
        try:
            with self.file.open(encoding="utf-8-sig", newline=None) as file:
                line = file.readline(1 << 16)
        except UnicodeDecodeError as error:
            raise not_readable(self.file, _NO_TEXT) from error
        if "\0" in line:
            raise not_readable(self.file, _NO_TEXT)
        return line.rstrip("\n")

    def _count_rows(self) -> int:
        try:
            with self.file.open(encoding="utf-8-sig") as file:
                return sum(1 for line in file if line.strip()) - 1
        except UnicodeDecodeError as error:
            raise not_readable(self.file, _NO_TEXT) from error

    def _check_header(self) -> None:
        if all(not name or _is_number(name) for name in self._names):
            raise input_error(
                self.file,
                "row 1",
                "numbers only" if any(self._names) else "no names",
                "the names of the columns",
                "put a header row on top, such as: time_s,torque,speed_error",
            )
        twice = sorted({name for name in self._names if name and self._names.count(name) > 1})
        if twice:
            raise input_error(
                self.file,
                "row 1",
                f"column {twice[0]!r} more than once",
                "names that differ",
                "rename one of the columns",
            )

    def _check_width(self) -> None:
        """Refuse rows with more cells than there are names: a reader of columns would not notice.

        Empty cells at the end of a row do no harm.
        """
        try:
            with self.file.open(encoding="utf-8-sig", newline="") as file:
                rows = csv.reader(file, delimiter=self._delimiter)
                next(rows, None)
                for row in itertools.islice(rows, _ROWS_LOOKED_AT):
                    extra = [cell for cell in row[len(self._names) :] if cell.strip()]
                    if extra:
                        raise self._too_wide(rows.line_num, row)
        except UnicodeDecodeError as error:
            raise not_readable(self.file, _NO_TEXT) from error

    def _too_wide(self, line: int, row: list[str]) -> InputError:
        commas = self._delimiter == "," and len(row) == 2 * len(self._names)
        return input_error(
            self.file,
            f"row {line}",
            f"{len(row)} cells under {len(self._names)} names",
            "one cell for each name",
            _DECIMAL_COMMAS if commas else "give each column a name in row 1",
        )

    def _bad_cell(self, name: str, column: int, otherwise: str) -> InputError:
        """Find the first cell that is no number; the fast reader does not say it in our words."""
        with self.file.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file, delimiter=self._delimiter)
            next(reader)
            for row in reader:
                cell = row[column].strip() if column < len(row) else None
                if row and (cell is None or not _is_number(cell)):
                    found = "no such cell" if cell is None else repr(cell[:_CELL_SHOWN])
                    place = f"column {name}, row {reader.line_num}"
                    return _cell_error(self.file, place, found)
        return _cell_error(self.file, f"column {name}", otherwise)


def _cell_error(file: Path, place: str, found: str) -> InputError:
    remedy = "correct the cell, or cut the recording before it"
    if _is_number(found.strip("'").replace(",", ".", 1)):
        remedy = _DECIMAL_COMMAS
    return input_error(file, place, found, "a number with a decimal point", remedy)


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True
