"""Archives of arrays as ``numpy.savez`` writes them; pickled objects are refused."""

from __future__ import annotations

import zipfile
from pathlib import Path

import numpy as np

from gainwright.recording.table import not_readable


class NpzTable:
    """Arrays of an archive."""

    def __init__(self, path: Path) -> None:
        self.file = path
        if not zipfile.is_zipfile(path):
            raise not_readable(path, "no archive")
        self._arrays: dict[str, np.ndarray] = {}
        try:
            with np.load(path, allow_pickle=False) as archive:
                for name in archive.files:
                    self._arrays[name] = archive[name]
        except Exception as error:  # a damaged archive may trip the reader in any way
            raise not_readable(path, str(error) or type(error).__name__) from error
        self.shapes = {name: array.shape for name, array in self._arrays.items()}

    def read(self, name: str) -> np.ndarray:
        """Return one array as it is stored."""
        return self._arrays[name]

    def place(self, name: str, sample: int) -> str:
        """Return array and index."""
        return f"array {name}, index {sample}"
