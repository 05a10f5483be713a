"""MATLAB files up to version 7.2; a file of version 7.3 is HDF5 inside and is refused by name."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.io import loadmat

from gainwright.errors import input_error
from gainwright.recording.table import not_readable

_HDF5_SIGNATURE = b"\x89HDF\r\n\x1a\n"


class MatTable:
    """Variables of a MATLAB file."""

    def __init__(self, path: Path) -> None:
        self.file = path
        _refuse_version_7_3(path)
        try:
            contents = loadmat(str(path))
        except Exception as error:  # a damaged file may trip the reader in any way
            raise not_readable(path, str(error) or type(error).__name__) from error
        self._arrays = {
            str(name): np.asarray(value)
            for name, value in contents.items()
            if not str(name).startswith("__")
        }
        self.shapes = {name: array.shape for name, array in self._arrays.items()}

    def read(self, name: str) -> np.ndarray:
        """Return one variable as it is stored."""
        return self._arrays[name]

    def place(self, name: str, sample: int) -> str:
        """Return variable and index, counted from one as MATLAB does."""
        return f"variable {name}, index {sample + 1}"


def _refuse_version_7_3(path: Path) -> None:
    # The signature stands at the start, or behind a text header of 512 bytes.
    with path.open("rb") as file:
        start = file.read(512 + len(_HDF5_SIGNATURE))
    if _HDF5_SIGNATURE in (start[: len(_HDF5_SIGNATURE)], start[512:]):
        raise input_error(
            path,
            "",
            "a MATLAB file of version 7.3 (HDF5)",
            "version 7.2 or older",
            "save it in MATLAB with: save('recording.mat', 'torque', 'speed_error', '-v7')",
        )
