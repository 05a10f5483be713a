"""Small pieces of C text: comments, arrays, the banner that every exported file opens with."""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Iterable, Iterator, Sequence

LINE_LENGTH = 100

_PLAIN = str.maketrans(
    {"µ": "u", "μ": "u", "×": "x", "·": "*", "²": "^2", "³": "^3", "°": " deg", "Ω": "Ohm",
     "–": "-", "—": "-", "−": "-", "≤": "<=", "≥": ">=", "±": "+-", "→": "->", "’": "'",
     "“": '"', "”": '"', "…": "..."}
)  # fmt: skip


def plain(text: str) -> str:
    """Return text as one line of ASCII that is safe inside a C comment or a read-me."""
    ascii_text = unicodedata.normalize("NFKD", text.translate(_PLAIN))
    ascii_text = "".join(c for c in ascii_text if not unicodedata.combining(c))
    ascii_text = ascii_text.encode("ascii", "replace").decode("ascii")
    # No comment may end early, none may seem to open, and "??" starts a trigraph.
    for risky in ("*/", "/*", "??"):
        while risky in ascii_text:
            ascii_text = ascii_text.replace(risky, " ".join(risky))
    return re.sub(r"\s+", " ", ascii_text).strip()


_PLACE = re.compile(r"@([A-Z_]+)@")


def filled(template: str, **values: object) -> str:
    """Return text with the value of each name in the places ``@NAME@``; KeyError without one."""
    return _PLACE.sub(lambda place: str(values[place[1]]), template)


def c_string(text: str) -> str:
    """Return text as a C string literal of ASCII characters."""
    return '"' + plain(text).replace("\\", "\\\\").replace('"', '\\"') + '"'


def comment(text: str, indent: int = 0) -> str:
    """Return text as a C comment, wrapped; a line break at the end is not included."""
    pad = " " * indent
    content = plain(text)
    if len(content) + indent + 6 <= LINE_LENGTH:
        return f"{pad}/* {content} */"
    lines = textwrap.wrap(content, LINE_LENGTH - indent - 6, break_on_hyphens=False)
    return f"{pad}/* " + f"\n{pad} * ".join(lines) + " */"


_INSIDE_TERM = re.compile(r"(?<!,) (?!&&|\|\||\?|:|[-+] )")
_INSIDE_OPERAND = re.compile(r"(?<!,) (?!&&|\|\||\?|:|[-+] |[<>=!]=? )")


def statement(text: str, indent: int) -> str:
    """Return C code, which holds no string literal, wrapped before operators that join terms.

    Where that leaves a line too long, also before those that compare them.
    """
    wrapped = _wrapped(text, indent, _INSIDE_TERM)
    if max(map(len, wrapped.splitlines()), default=0) <= LINE_LENGTH:
        return wrapped
    return _wrapped(text, indent, _INSIDE_OPERAND)


def _wrapped(text: str, indent: int, unbroken: re.Pattern[str]) -> str:
    pad = " " * indent
    filled = textwrap.fill(
        unbroken.sub("\0", text),
        LINE_LENGTH,
        initial_indent=pad,
        subsequent_indent=pad + " " * 8,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return filled.replace("\0", " ")


def block_comment(paragraphs: Iterable[str]) -> str:
    """Return paragraphs as a comment block, one blank comment line between two of them."""
    lines: list[str] = []
    for paragraph in paragraphs:
        lines += ["", *textwrap.wrap(plain(paragraph), LINE_LENGTH - 3, break_on_hyphens=False)]
    return "/*\n" + "".join(f" * {line}".rstrip() + "\n" for line in lines[1:]) + " */\n"


def array(items: Sequence[str], indent: int = 4) -> str:
    """Return items between braces, filled into lines."""
    pad = " " * indent
    lines = _filled(", ".join(items).split(" "), LINE_LENGTH - indent)
    return "{\n" + "\n".join(pad + line if line else "" for line in lines) + "\n}"


def _filled(words: Iterable[str], width: int) -> Iterator[str]:
    """Yield lines of words; plainly, since tables have a million of them."""
    line: list[str] = []
    length = -1
    for word in words:
        length += 1 + len(word)
        if line and length > width:
            yield " ".join(line)
            line, length = [], len(word)
        line.append(word)
    yield " ".join(line)


CAUTION = (
    "NOT A SAFETY FUNCTION. Firmware that uses this file moves machinery on purpose and drives it "
    "to the edge of instability. People stay out of the hazard zone; an independent emergency "
    "stop, limit switches and safe torque off must be in place and tested first; vertical axes "
    "need a brake or counterweight. Risk assessment, local codes and licensed practice decide."
)


def identity(kind: str, name: str, digest: str) -> str:
    """Return the line that ties a file to a trial or machine."""
    return f"{kind} {name}, SHA-256 {digest}"


def fingerprint(digest: str) -> str:
    """Return the first 32 bits of a digest as a number of the preprocessor."""
    return f"0x{digest[:8] or '0'}U"


def only_with_trial(name: str, digest: str) -> str:
    """Return lines that stop a compiler where ``gw_trial.h``, included before, is another one."""
    return (
        f"#if GW_TRIAL_FINGERPRINT != {fingerprint(digest)}\n"
        f'#error "{name} and gw_trial.h are from different exports"\n'
        "#endif"
    )


def only_with_runtime(name: str, runtime: str) -> str:
    """Return lines that stop a compiler where static files, included before, are others.

    Args:
        name: file that the lines stand in.
        runtime: fingerprint of the static files that it was made with.
    """
    return (
        f"#if GW_RUNTIME_FINGERPRINT != {runtime}\n"
        f'#error "{name} was made with another version of the static files"\n'
        "#endif"
    )


C_LINKAGE_BEGINS = '#ifdef __cplusplus\nextern "C" {\n#endif\n'
C_LINKAGE_ENDS = "#ifdef __cplusplus\n}\n#endif\n"
RUNTIME_VERSION = 9
"""Version of the static C that generated files are made for; ``GW_RUNTIME_VERSION`` there."""


def banner(subject: str, identities: Iterable[str]) -> str:
    """Return the comment that opens an exported file.

    Args:
        subject: what the file is, one sentence.
        identities: lines that say what it belongs to, e.g. names with digests.
    """
    return block_comment([f"Gainwright: {subject}", CAUTION, *identities])
