"""Read a TOML file from a user's hand: every way it can fail becomes one clear error."""

from __future__ import annotations

import difflib
import os
import stat
import tomllib
from pathlib import Path
from typing import Any

from gainwright.errors import InputError, input_error

LARGEST_FILE_BYTES = 1_000_000
"""A trial or machine description is a few kilobytes; anything near this is the wrong file."""


def read_toml(path: str | os.PathLike[str], what: str = "TOML file") -> dict[str, Any]:
    """Return the parsed document; raise :class:`InputError` naming the file and the remedy.

    ``what`` says in the messages what kind of file was wanted, e.g. ``"machine description"``.
    The file is not read before its size is known, so a wrong path to a huge file costs nothing.
    """
    file = Path(path)
    text = _decode(file, _read_bytes(file, what), what)
    try:
        document = tomllib.loads(text)
    except ValueError as error:  # also a number of thousands of digits
        raise input_error(
            file,
            "",
            f"not valid TOML: {error}",
            f"a {what} in TOML 1.0",
            "mend the line named above",
        ) from None
    except RecursionError:
        raise input_error(
            file, "", "arrays or tables nested too deeply", f"a {what}", "give the right file"
        ) from None
    if not document:
        raise input_error(
            file, "", "no key at all, only white space or comments", f"a {what}", "fill in the file"
        )
    return document


def _read_bytes(file: Path, what: str) -> bytes:
    try:
        status = os.stat(file)
        problem = _refusal(file, status, what)
        if problem is not None:
            raise problem
        data = file.read_bytes()
    except FileNotFoundError:
        raise input_error(
            file, "", "no such file", f"an existing {what}", _nearest_file(file)
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise input_error(
            file, "", f"can not be read ({reason})", f"a readable {what}",
            "check the path and its permissions",
        ) from None  # fmt: skip
    if not data:
        raise input_error(file, "", "an empty file", f"a {what}", "fill in the file")
    return data


def _refusal(file: Path, status: os.stat_result, what: str) -> InputError | None:
    if stat.S_ISDIR(status.st_mode):
        return input_error(
            file, "", "a directory", f"a {what}", "give the path of a file inside it"
        )
    if not stat.S_ISREG(status.st_mode):
        return input_error(
            file, "", "a device, pipe or socket", f"a {what}", "save the text to a file first"
        )
    if status.st_size > LARGEST_FILE_BYTES:
        return input_error(
            file, "", f"{status.st_size} bytes", f"a {what} of at most {LARGEST_FILE_BYTES} bytes",
            "check the file name; a recording is not a description",
        )  # fmt: skip
    return None


def _decode(file: Path, data: bytes, what: str) -> str:
    if b"\0" in data:
        raise input_error(
            file, "", f"binary data (a zero byte at offset {data.index(0)})",
            f"a {what}, which is plain text in UTF-8", "check the file name",
        )  # fmt: skip
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise input_error(
            file, f"line {line}", f"a byte that is not UTF-8 (0x{data[error.start]:02x})",
            f"a {what}, which is plain text in UTF-8", "save the file as UTF-8",
        ) from None  # fmt: skip


def _nearest_file(file: Path) -> str:
    try:
        names = sorted(entry.name for entry in os.scandir(file.parent))
    except OSError:
        return f"check the folder: {file.parent} can not be listed"
    near = difflib.get_close_matches(file.name, names, n=1)
    return f"did you mean {file.parent / near[0]}?" if near else "check the path"
