"""Folders of results: one rule for every command that writes one.

A folder of ours lists its files in ``SHA256SUMS`` (the form that ``sha256sum -c`` reads). Files
that are not listed belong to somebody else: they stay, and none is ever written over. Files that
are listed are replaced by the next result, unless somebody has changed them since. Everything is
written beside first and renamed into place when it is whole; the list goes last.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path, PurePosixPath

from gainwright.errors import InputError, input_error

SUMS_FILE = "SHA256SUMS"
_LINE = re.compile(r"([0-9a-f]{64})  (.+)")
_SHOWN = 5
"""Names that a message lists before it only counts."""


@contextmanager
def result_folder(
    target: str | os.PathLike[str], option: str = "--out", force: bool = False
) -> Iterator[Path]:
    """Yield an empty folder whose files go to ``target`` when the block ends without an error.

    Args:
        target: the folder; it and those above it are made if need be.
        option: the command's option that named it, for messages.
        force: write over changed files of ours and over files of somebody else.

    Raises:
        InputError: the folder cannot be written, holds changed files of ours, or holds foreign
            files of the same names; nothing is changed then.
    """
    place = Path(target)
    check_result_folder(place, option, force)
    made: list[Path] = []
    beside: Path | None = None
    try:
        _make_folders(place.parent, made)
        beside = Path(tempfile.mkdtemp(prefix=f".{place.name}-", dir=place.parent))
        yield beside
        (beside / SUMS_FILE).write_bytes(checksums(_contents(beside)))
        beside.chmod(0o755)
        _refuse_foreign(place, _names(beside), option, force)
        _move_in(place, beside)
        made = []
    except OSError as error:
        raise _unwritable(place, option, error) from error
    finally:
        if beside is not None:
            shutil.rmtree(beside, ignore_errors=True)
        for folder in reversed(made):
            with suppress(OSError):
                folder.rmdir()


def checksums(files: Mapping[str, bytes]) -> bytes:
    """Return the text of ``SHA256SUMS`` for files by their names, itself left out."""
    lines = [
        f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n"
        for name in sorted(files)
        if name != SUMS_FILE
    ]
    return "".join(lines).encode("utf-8")


def listed_files(folder: str | os.PathLike[str]) -> dict[str, str]:
    """Return the SHA-256 (hex) of each file that a folder of ours lists; empty for other folders.

    A list with a line of another form, or with a name that leads out of the folder, is not ours.
    """
    try:
        text = (Path(folder) / SUMS_FILE).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return {}
    matches = [_LINE.fullmatch(line) for line in text.splitlines()]
    found = {match[2]: match[1] for match in matches if match is not None}
    strange = any(PurePosixPath(name).is_absolute() or ".." in Path(name).parts for name in found)
    return {} if strange or None in matches else found


def changed_files(folder: str | os.PathLike[str]) -> tuple[str, ...]:
    """Return the listed files that are there with another content than the list says."""
    place = Path(folder)
    return tuple(
        name
        for name, digest in sorted(listed_files(place).items())
        if (place / name).is_file()
        and hashlib.sha256((place / name).read_bytes()).hexdigest() != digest
    )


def check_result_folder(
    target: str | os.PathLike[str], option: str = "--out", force: bool = False
) -> None:
    """Raise InputError if the folder cannot take a result, before any work is done."""
    place = Path(target)
    try:
        if place.exists() and not place.is_dir():
            raise input_error(
                place, option, "a file", "a folder, new or existing", "name another folder"
            )
        _check_writable(place)
        changed = () if force else changed_files(place)
    except OSError as error:
        raise _unwritable(place, option, error) from error
    if changed:
        raise input_error(
            place,
            option,
            f"{_some(changed)}, changed since gainwright wrote it",
            "files as they were written, or none",
            "keep your changes elsewhere or name another folder; --force writes over them",
        )


def _check_writable(place: Path) -> None:
    """Raise OSError if the folder, or the first one above it that exists, takes no files."""
    there = next(folder for folder in (place, *place.absolute().parents) if folder.exists())
    if not there.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(there))
    if not os.access(there, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(there))


def _make_folders(folder: Path, made: list[Path]) -> None:
    """Make a folder and those above it; note in ``made`` what was not there before."""
    missing = [parent for parent in (folder, *folder.parents) if not parent.exists()]
    for parent in reversed(missing):
        parent.mkdir(exist_ok=True)
        made.append(parent)


def _names(folder: Path) -> list[str]:
    return sorted(
        path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()
    )


def _contents(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in _names(folder)}


def _refuse_foreign(place: Path, names: list[str], option: str, force: bool) -> None:
    listed = listed_files(place)
    ours = {*listed, SUMS_FILE} if listed else set()
    foreign = [name for name in names if name not in ours and (place / name).exists()]
    folders = [name for name in foreign if (place / name).is_dir()]
    if folders or (foreign and not force):
        raise input_error(
            place,
            option,
            f"{_some(folders or foreign)}, not written by gainwright",
            "a new folder, or one without files of these names",
            "name another folder, or move those files away"
            + ("" if folders else "; --force writes over them"),
        )


def _move_in(place: Path, beside: Path) -> None:
    if not place.exists():
        beside.rename(place)
        return
    names, earlier = _names(beside), set(listed_files(place))
    # While the list is missing, nothing vouches for the rest.
    (place / SUMS_FILE).unlink(missing_ok=True)
    for name in sorted(earlier - set(names)):
        (place / name).unlink(missing_ok=True)
        _remove_empty_folders(place, name)
    for name in sorted(names, key=lambda name: (name == SUMS_FILE, name)):
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        os.replace(beside / name, place / name)


def _remove_empty_folders(place: Path, name: str) -> None:
    for folder in list(PurePosixPath(name).parents)[:-1]:
        with suppress(OSError):
            (place / folder).rmdir()


def _some(names: list[str] | tuple[str, ...]) -> str:
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return ", ".join(names[:_SHOWN]) + more


def _unwritable(place: Path, option: str, error: OSError) -> InputError:
    return input_error(
        place,
        option,
        error.strerror or str(error),
        "a folder that can be written",
        "name another folder, change its permissions, or free some space",
    )
