"""Explain a key that a table does not have: another unit, another table or kind, or a slip."""

from __future__ import annotations

from typing import NamedTuple

from gainwright.described.nearest import nearest
from gainwright_sim.machine.keys import MECHANICS_KINDS, TABLES, TOP, Table
from gainwright_sim.machine.units import same_quantity


class Explanation(NamedTuple):
    found: str
    expected: str
    remedy: str
    meant: str | None
    """The key that was probably meant; that it is missing needs no message of its own."""


def explain_unknown(
    table: Table, name: str, allowed: list[str], absent: set[str], kind: str | None
) -> Explanation:
    """Return what to tell about key ``name`` of a table; ``absent`` are allowed keys not given."""
    what = "keys or tables" if table is TOP else "keys"
    expected = f"one of the {what} {', '.join(allowed)}"
    if name in table.by_name:
        kinds = " or ".join(one for one in MECHANICS_KINDS if one in table.by_name[name].kinds)
        return Explanation(
            f"a key that does not apply to mechanics of kind {kind!r}", expected,
            f"remove {name}, or use a kind it belongs to ({kinds})", None,
        )  # fmt: skip
    unit = same_quantity(name, [one for one in allowed if one in absent])
    if unit is not None:
        right, factor = unit
        scale = f", value times {factor:.6g}" if factor is not None else ""
        return Explanation(
            "a key with another unit in its name, or with none",
            f"{right} (SI units, the unit is part of the name)", f"write {right}{scale}", right,
        )  # fmt: skip
    home = next((other for other in TABLES if name in other.by_name), None)
    if home is not None:
        return Explanation("a key of another table", expected, f"move it to [{home.name}]", None)
    near = nearest(name, allowed)
    remedy = f"did you mean {near}?" if near else f"remove {name}"
    return Explanation("an unknown key", expected, remedy, near)
