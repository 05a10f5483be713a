"""Writes a bundle to a folder: all of it or nothing, and never over files of somebody else."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from pathlib import Path

from gainwright.errors import InputError, input_error
from gainwright_codegen.bundle.bundle import SUMS_FILE, Bundle

_SUM_LINE = re.compile(r"[0-9a-f]{64}  ([A-Za-z0-9_.]+)")


def write_bundle(bundle: Bundle, directory: str | Path) -> None:
    """Write a bundle to a folder, which is created if need be.

    The files are written beside and then renamed into place. An earlier export in the folder is
    replaced; other files stay as they are.

    Raises:
        InputError: the folder cannot be written, or it holds a file of the same name that is not
            from an export.
    """
    check_target(directory)
    target = Path(directory)
    made: list[Path] = []
    try:
        _make_folders(target, made)
        earlier = _earlier_export(target)
        _check_foreign(target, bundle, earlier)
        scratch = Path(tempfile.mkdtemp(prefix=".export-", dir=target))
        try:
            for name, content in bundle.files.items():
                (scratch / name).write_bytes(content)
            _move_in(bundle, scratch, target, earlier)
        finally:
            shutil.rmtree(scratch, ignore_errors=True)
    except OSError as error:
        for folder in reversed(made):
            folder.rmdir()
        raise _not_writable(target, str(error)) from error


def _make_folders(target: Path, made: list[Path]) -> None:
    """Make the folder and those above it; note in ``made`` what was not there before."""
    missing = [folder for folder in (target, *target.parents) if not folder.exists()]
    for folder in reversed(missing):
        folder.mkdir(exist_ok=True)
        made.append(folder)


def check_target(directory: str | Path) -> None:
    """Raise InputError if the folder cannot be one, before any work is done."""
    target = Path(directory)
    if target.exists() and not target.is_dir():
        raise input_error(
            target, "output folder", "a file", "a folder", "name another one with --out"
        )


def _earlier_export(target: Path) -> set[str]:
    """Return the names of the files that an earlier export left in the folder."""
    try:
        text = (target / SUMS_FILE).read_text(encoding="utf-8")
    except (FileNotFoundError, UnicodeDecodeError):
        return set()
    matches = [_SUM_LINE.fullmatch(line) for line in text.splitlines()]
    return {SUMS_FILE} | {match[1] for match in matches if match}


def _check_foreign(target: Path, bundle: Bundle, earlier: set[str]) -> None:
    foreign = [name for name in bundle.files if name not in earlier and (target / name).exists()]
    if foreign:
        raise input_error(
            target,
            "output folder",
            f"{', '.join(foreign)}, not from an earlier export",
            "an empty folder, a new one, or one with an earlier export",
            "name another folder with --out, or move those files away",
        )


def _move_in(bundle: Bundle, scratch: Path, target: Path, earlier: set[str]) -> None:
    # The list of sums goes last: while it is missing or old, it does not vouch for the rest.
    (target / SUMS_FILE).unlink(missing_ok=True)
    for name in earlier - set(bundle.files):
        (target / name).unlink(missing_ok=True)
    for name in sorted(bundle.files, key=lambda name: (name == SUMS_FILE, name)):
        os.replace(scratch / name, target / name)


def _not_writable(target: Path, why: str) -> InputError:
    return input_error(
        target,
        "output folder",
        why,
        "a folder that can be written",
        "name another one with --out, or change its permissions",
    )
