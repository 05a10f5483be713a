"""Which files a tool reads when it is given some: these, and what they include."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from gainwright_proof.c_checks.workspace import INCLUDE_DIRECTORY

_INCLUDE = re.compile(r"^[ \t]*#[ \t]*include\b(.*)$", re.MULTILINE)
_NAMED = re.compile(r'\s*(?:"([^"]+)"|<([^>]+)>)')


def files_read(folder: Path, names: Iterable[str]) -> dict[str, bytes]:
    """Return the content of files of a folder and of all that they include, by name.

    Headers of the tool itself are left out, as they belong to its version. An include that names no
    file (a macro, say) makes every C file of the folder count as read.
    """
    found: dict[str, bytes] = {}
    waiting = list(names)
    while waiting:
        name = waiting.pop()
        path = next((p for p in (folder / name, INCLUDE_DIRECTORY / name) if p.is_file()), None)
        if name in found or path is None:
            continue
        found[name] = path.read_bytes()
        for rest in _INCLUDE.findall(found[name].decode("ascii", errors="replace")):
            named = _NAMED.match(rest)
            waiting += [named[1] or named[2]] if named else _all_of(folder)
    return found


def _all_of(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir() if path.suffix in (".c", ".h")]
