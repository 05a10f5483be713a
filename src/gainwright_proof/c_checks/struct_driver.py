"""Generates C that fills a structure with any promised values, and checks that it keeps them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from gainwright_proof.c_checks.runtime_ranges import RUNTIME_RANGES
from gainwright_proof.c_checks.structures import ArrayType, CType, IntType, StructType

STRUCTURES = (
    "gw_level_settings",
    "gw_highpass_coefficients",
    "gw_highpass_past",
    "gw_band",
    "gw_detector",
    "gw_pulse",
    "gw_evidence",
)
"""State of detector, evidence and pulse, and settings; each comes after those that it holds."""
_OPENING = """\
/* Any promised state of detector, evidence and pulse, generated from the promised ranges. */
#include "gw_any.h"
#include "gw_detector.h"
#include "gw_evidence.h"
#include "gw_pulse.h"
"""


def struct_driver(structures: Mapping[str, Mapping[str, CType]]) -> str:
    """Return C functions ``gw_any_<structure>`` and ``gw_check_<structure>`` for STRUCTURES."""
    functions = (_functions(name, structures[name]) for name in STRUCTURES)
    return "\n".join([_OPENING, *functions])


def _functions(structure: str, members: Mapping[str, CType]) -> str:
    short = structure.removeprefix("gw_")
    signatures = (
        f"void gw_any_{short}({structure} *{short})",
        f"void gw_check_{short}(const {structure} *{short})",
    )
    bodies: tuple[list[str], list[str]] = ([], [])
    for member, kind in members.items():
        promised = RUNTIME_RANGES.get(structure, {}).get(member)
        for suffix, leaf in _leaves(kind):
            place = f"{short}->{member}{suffix}"
            if isinstance(leaf, StructType):
                inner = leaf.name.removeprefix("gw_")
                bodies[0].append(f"gw_any_{inner}(&{place});")
                bodies[1].append(f"gw_check_{inner}(&{place});")
            else:
                low, high = promised or leaf.range
                any_of_type = f"gw_any_{_short_type(leaf)}"
                bodies[0].append(f"{place} = {any_of_type}({_literal(low)}, {_literal(high)});")
                # Two properties, as together they are much harder for a solver.
                if low > leaf.range[0]:
                    bodies[1].append(f"gw_check({place} >= {_literal(low)});")
                if high < leaf.range[1]:
                    bodies[1].append(f"gw_check({place} <= {_literal(high)});")
    # A structure that promises nothing has nothing to check.
    bodies[1][:] = bodies[1] or [f"(void){short};"]
    return "\n".join(
        f"{signature};\n{signature}\n{{\n" + "".join(f"    {line}\n" for line in body) + "}\n"
        for signature, body in zip(signatures, bodies, strict=True)
    )


def _leaves(kind: CType, suffix: str = "") -> Iterator[tuple[str, IntType | StructType]]:
    if isinstance(kind, ArrayType):
        for index in range(kind.length):
            yield from _leaves(kind.element, f"{suffix}[{index}]")
    else:
        yield suffix, kind


def _short_type(kind: IntType) -> str:
    return str(kind).removesuffix("_t")


def _literal(value: int) -> str:
    # The most negative numbers have no literal of their own in C.
    return f"(-INT64_C({-value - 1}) - 1)" if value < 0 else f"INT64_C({value})"
