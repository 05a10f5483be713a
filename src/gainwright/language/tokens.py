"""Cuts the text of an expression into words, numbers and symbols."""

from __future__ import annotations

import re
from dataclasses import dataclass

from gainwright.language.expression import SELECTIONS, Operator
from gainwright.language.expression_error import ExpressionError

KEYWORDS = frozenset({"true", "false", "not", "and", "or", "implies", "if", "then", "else"})
CALLED = frozenset(one.value for one in SELECTIONS if one.value.isidentifier()) | {
    "next",
    "in_state",
}
RESERVED = KEYWORDS | CALLED
"""Words that cannot be names of a specification."""
LONGEST_TEXT = 4000
NAME_PATTERN = r"[a-z][a-z0-9_]*"

_SYMBOLS = [
    *(operator.value for operator in Operator if not operator.value.isidentifier()),
    *("**", "//", "&&", "||", *"(),/%!=&|^~?:"),  # the brackets, and what is refused below
]
_TOKEN = re.compile(
    r"(?P<space>\s+)"
    r"|(?P<float>\d[\d_]*\.\d*(?:[eE][+-]?\d+)?|\.\d+(?:[eE][+-]?\d+)?|\d+[eE][+-]?\d+)"
    r"|(?P<integer>0x[0-9a-fA-F]+|\d[\d_]*)"
    r"|(?P<word>[A-Za-z_]\w*)"
    rf"|(?P<symbol>{'|'.join(map(re.escape, sorted(_SYMBOLS, key=len, reverse=True)))})"
)
# What people write from habit, and what the language says instead.
_REFUSED = {
    "/": ("a division", "multiply, or shift right with >> by a literal"),
    "//": ("a division", "multiply, or shift right with >> by a literal"),
    "%": ("a modulo", "count up to a bound and start again with if ... then ... else"),
    "**": ("a power", "write the product, or a constant of that value"),
    "=": ("a single =", "compare with =="),
    "!": ("!", "write not"),
    "&&": ("&&", "write and"),
    "||": ("||", "write or"),
    "&": ("a bitwise operator", "use and, or, not on boolean values"),
    "|": ("a bitwise operator", "use and, or, not on boolean values"),
    "^": ("a bitwise operator", "use != on boolean values"),
    "~": ("a bitwise operator", "use not on boolean values"),
    "?": ("?", "write if ... then ... else ..."),
    ":": (":", "write if ... then ... else ..."),
}


@dataclass(frozen=True, slots=True)
class Token:
    kind: str
    """``integer``, ``word``, ``symbol`` or ``end``."""
    text: str
    column: int
    """Counts from 1."""

    def __str__(self) -> str:
        return "the end of the expression" if self.kind == "end" else f"'{self.text}'"


def tokens(text: str) -> list[Token]:
    """Return the tokens of ``text``, closed by one of kind ``end``; ExpressionError if refused."""
    if len(text) > LONGEST_TEXT:
        raise ExpressionError(
            f"an expression of {len(text)} characters",
            f"at most {LONGEST_TEXT} characters",
            "split it into named conditions",
        )
    found: list[Token] = []
    position = 0
    while position < len(text):
        match = _TOKEN.match(text, position)
        column = position + 1
        if match is None:
            raise ExpressionError(
                f"the character {text[position]!r}",
                "names, integers, operators and brackets",
                "remove it",
                column,
            )
        _refuse(match, column)
        if match.lastgroup != "space":
            found.append(Token(str(match.lastgroup), match.group(), column))
        position = match.end()
    found.append(Token("end", "", len(text) + 1))
    return found


def _refuse(match: re.Match[str], column: int) -> None:
    text = match.group()
    if match.lastgroup == "float":
        raise ExpressionError(
            f"the decimal number {text}",
            "integers only, so that every target computes the same",
            "scale the quantity, say the scale in its unit, and write an integer",
            column,
        )
    if match.lastgroup == "symbol" and text in _REFUSED:
        what, remedy = _REFUSED[text]
        raise ExpressionError(what, "an operator of the language", remedy, column)
