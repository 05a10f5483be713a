"""What C headers declare, in the subset of C that cffi reads: nothing is copied by hand.

The headers go through a preprocessor, so that sizes and conditional members are those of the very
files that are compiled; functions with a body are left out, since a library does not export them.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import PurePath

_STATIC = re.compile(r"(?m)^static\b[^;{]*(?P<end>[;{])")


def declarations(
    sources: Mapping[str, bytes | str], headers: Iterable[str], defined: Iterable[str] = ()
) -> str:
    """Return the types and functions that headers declare, those that they include first.

    Args:
        sources: C files by name; what they include of the C library declares nothing here.
        headers: names of those to read.
        defined: macros to define, as ``NAME`` or ``NAME value``.

    Raises:
        ValueError: a header includes a project file that is not among the sources, or the
            preprocessor stops at an error.
    """
    texts = tuple(
        (name, text if isinstance(text, str) else text.decode("ascii"))
        for name, text in sorted(sources.items())
        if name.endswith(".h")
    )
    return _declared(texts, tuple(headers), tuple(defined))


@cache
def _declared(
    texts: tuple[tuple[str, str], ...], headers: tuple[str, ...], defined: tuple[str, ...]
) -> str:
    import pcpp  # here, since only what loads compiled C needs it

    files = dict(texts)
    missing: list[str] = []

    class Preprocessor(pcpp.Preprocessor):
        """Reads from memory, and nothing of the C library."""

        def on_file_open(self, is_system_include: bool, includepath: str) -> io.StringIO:
            name = PurePath(includepath).name  # sources lie in one folder
            if not is_system_include and name not in files:
                missing.append(name)
            return io.StringIO("" if is_system_include else files.get(name, ""))

    preprocessor = Preprocessor()
    preprocessor.line_directive = None
    for macro in defined:
        preprocessor.define(macro)
    preprocessor.parse("".join(f'#include "{name}"\n' for name in headers), "declarations")
    text = io.StringIO()
    preprocessor.write(text)
    if missing:
        raise ValueError(f"headers that are not among the sources: {', '.join(missing)}")
    if preprocessor.return_code:  # it has printed where and why
        raise ValueError(f"{', '.join(headers)}: the preprocessor stopped at an error")
    return _without_bodies(text.getvalue())


def _without_bodies(text: str) -> str:
    """Return the text without static functions, sizes of literals as numbers."""
    kept, position = [], 0
    for start in _STATIC.finditer(text):
        if start.start() < position:
            continue
        kept.append(text[position : start.start()])
        position = start.end()
        depth = 1 if start["end"] == "{" else 0
        while depth:
            depth += {"{": 1, "}": -1}.get(text[position], 0)
            position += 1
    text = re.sub(r"\n\s*\n+", "\n", "".join(kept) + text[position:])
    return re.sub(r'sizeof "([^"]*)"', lambda literal: str(len(literal[1]) + 1), text)
