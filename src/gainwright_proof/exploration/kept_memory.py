"""Does exported C keep anything beside the memory it is given?

A search knows a moment by state and variables. C that counts its calls in a place of its own would
be another step one day, after more calls than any search makes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

_COMMENT = re.compile(r"/\*.*?\*/|//[^\n]*|\"(?:\\.|[^\"\\])*\"", re.DOTALL)
_DIRECTIVE = re.compile(r"^[ \t]*#(?:[^\n]*\\\n)*[^\n]*", re.MULTILINE)
_LOCAL = re.compile(r"[{;}]\s*(static\b[^;{]*)")
_NO_OBJECT = ("typedef", "extern")
_TAGGED = ("struct", "union", "enum")


def kept_memory(sources: Mapping[str, bytes]) -> str | None:
    """Return the first object of C files that lasts from call to call and can change."""
    for name in sorted(sources):
        if name.endswith((".c", ".h")):
            text = _bare(sources[name].decode("utf-8"))
            for declaration in (*_outside(text), *_LOCAL.findall(text)):
                if _can_change(declaration):
                    return f"{name}: {' '.join(declaration.split())}"
    return None


def _bare(text: str) -> str:
    return _DIRECTIVE.sub("", _COMMENT.sub(" ", text))


def _outside(text: str) -> Iterator[str]:
    """Yield what is declared outside of functions, without bodies and values."""
    for declaration in _without_blocks(text).split(";"):
        yield declaration.split("=")[0]


def _without_blocks(text: str) -> str:
    """Return a text with all blocks empty; a function ends like a declaration."""
    kept, depth, begin = "", 0, 0
    for place, character in enumerate(text):
        if character == "{":
            if depth == 0:
                kept += text[begin:place]
            depth += 1
        elif character == "}":
            depth -= 1
            begin = place + 1
            # A body follows its parameters; what follows a type may be an object.
            kept += ";" if depth == 0 and kept.rstrip().endswith(")") else ""
    return kept + text[begin:]


def _can_change(declaration: str) -> bool:
    """Return whether a declaration is of an object that is not constant."""
    declared = declaration.split("=")[0].strip()
    words = re.findall(r"\w+", declared)
    if not words or "(" in declared or words[0] in _NO_OBJECT:
        return False
    if words[0] in _TAGGED and len(words) < 3:
        return False
    # What is constant of a pointer is said behind its star.
    return "const" not in re.split(r"\W+", declared.rpartition("*")[2])
