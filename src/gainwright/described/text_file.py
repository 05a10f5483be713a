"""Reads a specification or description file as text, with one clear error for what is wrong."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path
from typing import Any

from gainwright.described.nearest import nearest
from gainwright.errors import InputError, input_error

LARGEST_FILE_BYTES = 1_000_000


def read_toml(path: str | Path) -> dict[str, Any]:
    """Return the content of a TOML file; InputError if it cannot be read or is no TOML."""
    return toml_in(read_text(path), path)


def toml_in(text: str, path: str | Path) -> dict[str, Any]:
    """Return the content of the text of a TOML file; InputError, with its path, if it is none."""
    try:
        return tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError, or a number of thousands of digits
        raise input_error(
            path, "", f"no TOML: {error}", "a file in the TOML format", "correct the line"
        ) from None
    except RecursionError:
        raise input_error(
            path, "", "brackets nested too deep", "a file in the TOML format", "choose another file"
        ) from None


def read_text(path: str | Path) -> str:
    """Return the text of a small UTF-8 file that is not empty; InputError otherwise."""
    file = Path(path)
    try:
        if not file.exists():
            raise _unreadable(path, "no such file", _nearest_file(file))
        if file.is_dir():
            raise _unreadable(path, "a directory", "name a file in it")
        if not file.is_file():
            raise _unreadable(path, "no regular file", "name a file")
        if file.stat().st_size > LARGEST_FILE_BYTES:
            raise _unreadable(
                path,
                f"{file.stat().st_size} bytes",
                "choose another file",
                f"a file of at most {LARGEST_FILE_BYTES} bytes",
            )
        content = file.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise _unreadable(path, f"it cannot be read: {reason}", "check path and rights") from None
    return _decoded(path, content)


def _decoded(path: str | Path, content: bytes) -> str:
    if not content.strip():
        raise _unreadable(path, "an empty file", "choose another file, or restore it")
    if b"\0" in content:
        raise _unreadable(path, "a binary file", "choose another file")
    try:
        return content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise _unreadable(
            path,
            f"the byte 0x{content[error.start]:02x} at {error.start}, which is not UTF-8",
            "save the file as UTF-8",
        ) from None


def _unreadable(
    path: str | Path, found: str, remedy: str, expected: str = "a readable text file"
) -> InputError:
    return input_error(path, "", found, expected, remedy)


def _nearest_file(file: Path) -> str:
    try:
        names = sorted(entry.name for entry in os.scandir(file.parent))
    except OSError:
        return f"check the path; the folder {file.parent} cannot be listed"
    near = nearest(file.name, names)
    return f"did you mean {file.parent / near}?" if near else "check the path"
