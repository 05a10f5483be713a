"""Folders that are written whole or not at all: beside first, then renamed."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gainwright.errors import InputError, input_error

MARK = ".gainwright"
"""A file by which a folder of our own is known: only such a folder is ever replaced."""


@contextmanager
def output_folder(target: str | os.PathLike[str], option: str = "--out") -> Iterator[Path]:
    """Yield an empty folder that becomes ``target`` when the block ends without an error.

    A target that exists is replaced if it is empty or was made by us, else refused.

    Raises:
        InputError: the folder cannot be written, or holds something else.
    """
    place = Path(target)
    _refuse_foreign(place, option)
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{place.name}-", dir=place.parent))
    except OSError as error:
        raise _unwritable(place, option, error) from error
    try:
        (beside / MARK).write_text("written by gainwright; replaced as a whole\n")
        yield beside
        beside.chmod(0o755)
        _replace(place, beside)
    except OSError as error:
        raise _unwritable(place, option, error) from error
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _replace(place: Path, beside: Path) -> None:
    if place.exists():
        old = beside.with_name(beside.name + "-old")
        place.rename(old)
        beside.rename(place)
        shutil.rmtree(old, ignore_errors=True)
    else:
        beside.rename(place)


def _refuse_foreign(place: Path, option: str) -> None:
    try:
        if not place.exists():
            return
        contents = sorted(entry.name for entry in place.iterdir()) if place.is_dir() else None
    except OSError as error:
        raise _unwritable(place, option, error) from error
    if contents is None:
        raise input_error(
            place, option, "a file", "a folder, new or made by gainwright",
            "name another folder",
        )  # fmt: skip
    if contents and MARK not in contents:
        raise input_error(
            place,
            option,
            f"a folder with other contents ({', '.join(contents[:3])} ...)",
            "a new folder, an empty one, or one made by gainwright",
            "name another folder, or empty this one",
        )


def _unwritable(place: Path, option: str, error: OSError) -> InputError:
    return input_error(
        place,
        option,
        error.strerror or str(error),
        "a folder that can be written",
        "name another folder, or change its permissions or free some space",
    )
