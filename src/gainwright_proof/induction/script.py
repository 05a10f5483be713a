"""Standalone SMT-LIB scripts: what is defined, what is assumed, what is denied.

A script asserts everything assumed and the denial of what is claimed; ``unsat`` means proved. Only
definitions that the assertions need are written, so that a reviewer reads no more than matters.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

from gainwright_proof.induction.text import LINE_LENGTH, negation, pretty, symbols_in


@dataclass(frozen=True)
class Definition:
    """A declared constant or a defined function of a script."""

    symbol: str
    text: str
    """The whole command."""
    comment: str = ""
    constraint: str = ""
    """Holds wherever the symbol is used: the declared range of a free constant."""

    @cached_property
    def needs(self) -> frozenset[str]:
        return symbols_in(self.text) | symbols_in(self.constraint)


@dataclass(frozen=True, slots=True)
class Statement:
    """An assertion and, in a comment, why it is made."""

    comment: str
    formula: str


def constant(symbol: str, sort: str, comment: str = "", constraint: str = "") -> Definition:
    return Definition(symbol, f"(declare-const {symbol} {sort})", comment, constraint)


def function(
    symbol: str, sort: str, body: str, comment: str = "", parameters: str = ""
) -> Definition:
    text = f"(define-fun {symbol} ({parameters}) {sort} {body})"
    return Definition(symbol, text, comment)


def script(
    heading: Sequence[str],
    definitions: Iterable[Definition],
    assumptions: Sequence[Statement],
    claim: Statement,
) -> str:
    """Return the script that is unsatisfiable exactly if the claim follows.

    ``definitions`` come in an order in which each only uses earlier ones; ``heading`` are the
    paragraphs of the comment on top.
    """
    formulas = [*(statement.formula for statement in assumptions), claim.formula]
    used = needed(definitions, formulas)
    parts = ["\n".join(_comment(paragraph) for paragraph in heading), "(set-logic QF_BV)"]
    parts += [_block(definition.comment, definition.text) for definition in used]
    ranges = [definition.constraint for definition in used if definition.constraint]
    if ranges:
        asserted = [_block("", f"(assert {formula})") for formula in ranges]
        parts.append("\n".join([_comment("Declared ranges."), *asserted]))
    parts += [_block(s.comment, f"(assert {s.formula})") for s in assumptions]
    parts.append(_block(f"Denied: {claim.comment}", f"(assert {negation(claim.formula)})"))
    parts.append("(check-sat)")
    return "\n\n".join(parts) + "\n"


def needed(definitions: Iterable[Definition], formulas: Iterable[str]) -> list[Definition]:
    """Return the definitions that formulas use, directly or through others, in order."""
    ordered = list(definitions)
    by_symbol: Mapping[str, Definition] = {d.symbol: d for d in ordered}
    waiting = set().union(*map(symbols_in, formulas)) & by_symbol.keys()
    found: set[str] = set()
    while waiting:
        symbol = waiting.pop()
        found.add(symbol)
        waiting |= (by_symbol[symbol].needs & by_symbol.keys()) - found
    return [definition for definition in ordered if definition.symbol in found]


@lru_cache(maxsize=8192)
def _block(comment: str, command: str) -> str:
    # Kept, because the same definitions stand in hundreds of scripts.
    return f"{_comment(comment)}\n{pretty(command)}" if comment else pretty(command)


def _comment(text: str) -> str:
    return textwrap.fill(
        text,
        LINE_LENGTH,
        initial_indent="; ",
        subsequent_indent="; ",
        break_long_words=False,
        break_on_hyphens=False,
    )
