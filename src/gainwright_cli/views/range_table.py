"""Shows derived and allowed ranges of the C source in the terminal."""

from __future__ import annotations

from collections.abc import Iterable

from rich import box
from rich.table import Table
from rich.text import Text

from gainwright_proof.c_checks.intervals import RangeRow


def range_table(rows: Iterable[RangeRow]) -> Table:
    """Return a table of expressions: derived range, allowed range, bits between them."""
    table = Table(box=box.SIMPLE, title="Ranges of the arithmetic, read from the C source")
    for heading in ("place", "expression", "allowed for", "derived", "allowed"):
        table.add_column(heading, overflow="fold")
    table.add_column("spare bits", justify="right")
    for row in rows:
        style = "" if row.kept else "bold red"
        texts = (row.place, row.expression, row.kind, _span(row.derived), _span(row.allowed))
        # Text, since square brackets of C are no markup.
        table.add_row(*(Text(text) for text in texts), Text(str(row.margin_bits)), style=style)
    return table


def _span(interval: tuple[int, int]) -> str:
    low, high = (_power_text(end) for end in interval)
    return low if low == high else f"{low} to {high}"


def _power_text(value: int) -> str:
    """Return a number; large ones as a power of two, and what is missing to it."""
    size = abs(value)
    if size < 1 << 16:
        return str(value)
    sign = "-" if value < 0 else ""
    for offset in (0, 1, -1):
        power = size + offset
        if power & (power - 1) == 0:
            rest = f" {'+' if offset < 0 else '-'} 1" if offset else ""
            exponent = power.bit_length() - 1
            return f"{sign}(2^{exponent}{rest})" if rest and sign else f"{sign}2^{exponent}{rest}"
    return str(value)
