"""What a tool said about the same bytes is kept in the per-user cache, and not asked again.

A run is named by the digest of everything that it depends on: the program itself, its options, and
every file that it reads. Kept is what it printed and how it ended; verdicts are read from that as
if it had just ended. A run that reached a limit is not kept. ``prove --afresh`` and ``--recheck``
believe nothing that is kept, and run every tool again.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path

from gainwright_codegen.host.cache import find, obtain
from gainwright_codegen.host.tool_run import ToolRun

_PRODUCT = "run.json"
_believed = True


@contextmanager
def nothing_remembered(ask_again: bool = True) -> Iterator[None]:
    """Run every tool again for a while, whatever is kept, in all threads of this process."""
    global _believed
    before, _believed = _believed, _believed and not ask_again
    try:
        yield
    finally:
        _believed = before


def remembering() -> bool:
    """Return whether what was found before may be used."""
    return _believed


def digest_of_run(program: str, words: Sequence[str], files: Mapping[str, bytes]) -> str:
    """Return the digest (hex) of everything that a run depends on.

    Args:
        program: digest of the program, and its version.
        words: its arguments, without any path that differs from run to run.
        files: content of every file that it reads, by the name that it reads it by.
    """
    parts = [program.encode(), *(word.encode() for word in words), b""]
    for name in sorted(files):
        parts += [name.encode(), files[name]]
    # Digests of the parts: no two lists of parts give the same text.
    text = b"".join(hashlib.sha256(part).digest() for part in parts)
    return hashlib.sha256(text).hexdigest()


def remembered(digest: str, run: Callable[[], ToolRun]) -> ToolRun:
    """Return what a run with this digest gave, now or before."""
    name = f"run-{digest}"
    if _believed and (kept := find(name, _PRODUCT)) is not None:
        known = json.loads(kept.read_text(encoding="utf-8"))
        return ToolRun(known["output"], known["exit_code"])
    done = run()
    # A signal that ended it may have come from outside.
    if _believed and done.exit_code is not None and done.exit_code >= 0:
        text = json.dumps({"output": done.output, "exit_code": done.exit_code})
        obtain(name, _PRODUCT, lambda folder: _write(folder / _PRODUCT, text))
    return done


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")


def program_digest(path: str) -> str:
    """Return the digest (hex) of a program's file."""
    status = os.stat(path)
    return _program_digest(os.path.realpath(path), status.st_size, status.st_mtime_ns)


@cache
def _program_digest(path: str, _size: int, _changed: int) -> str:
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
