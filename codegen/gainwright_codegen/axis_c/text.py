"""Makes ``gw_machine.h`` and ``gw_machine.c`` from the tables of a machine."""

from __future__ import annotations

import textwrap

from gainwright_codegen.axis_c.layout import MachineTable, MachineTables, Value
from gainwright_codegen.c_text import (
    C_LINKAGE_BEGINS,
    C_LINKAGE_ENDS,
    LINE_LENGTH,
    RUNTIME_VERSION,
    banner,
    c_string,
    comment,
    fingerprint,
    identity,
)

_REPLACEABLE = """\
/* A simulator may define this as nothing, to try many machines with one compilation. */
#ifndef GW_MACHINE_CONST
#define GW_MACHINE_CONST const
#endif
"""
_INT16_HIGH, _INT32_HIGH, _UINT32_HIGH = 2**15 - 1, 2**31 - 1, 2**32 - 1


def machine_sources(machine: MachineTables) -> dict[str, bytes]:
    """Return the text of both files by name."""
    return {
        "gw_machine.h": _header(machine).encode("ascii"),
        "gw_machine.c": _source(machine).encode("ascii"),
    }


def _identities(machine: MachineTables) -> list[str]:
    return [
        identity("Machine", machine.name, machine.digest),
        machine.title,
        f"1.0 of torque is the rated torque, {machine.rated_torque_nm!r} Nm; 1.0 of speed is the "
        f"top speed, {machine.top_speed_rad_per_s!r} rad/s; a control tick is "
        f"{machine.control_tick_us!r} us.",
    ]


def _header(machine: MachineTables) -> str:
    lines = [
        banner("constants and tables of one machine, generated.", _identities(machine)),
        "#ifndef GW_MACHINE_H\n#define GW_MACHINE_H\n\n#include <stdint.h>\n",
        *(f'#include "{name}"' for name in machine.includes),
        "",
        f"#define GW_MACHINE_NAME {c_string(machine.name)}",
        f"#define GW_MACHINE_DIGEST {c_string(machine.digest)}\n",
        comment("Trial and static files that this was made for; gw_axis.h compares."),
        f"#define GW_MACHINE_TRIAL_FINGERPRINT {fingerprint(machine.trial_digest)}",
        f"#define GW_MACHINE_RUNTIME_VERSION {RUNTIME_VERSION}\n",
        comment("What 1.0 of torque and of speed are, in uN m and urad/s, and the control tick."),
        f"#define GW_RATED_TORQUE_UNM {_number(round(machine.rated_torque_nm * 1e6))}",
        f"#define GW_TOP_SPEED_URAD_PER_S {_number(round(machine.top_speed_rad_per_s * 1e6))}",
        f"#define GW_CONTROL_TICK_NS {_number(round(machine.control_tick_us * 1000))}\n",
        _REPLACEABLE,
        C_LINKAGE_BEGINS,
        comment("GW_MACHINE_DIGEST as a constant that firmware can read out."),
        "extern const char gw_machine_digest[sizeof GW_MACHINE_DIGEST];\n",
    ]
    for item in machine.constants:
        lines += [comment(item.comment), f"#define {item.name} {_number(item.value)}\n"]
    for table in machine.tables:
        if not table.private:
            lines += [comment(table.comment), f"extern {_declaration(table)};\n"]
    return "\n".join([*lines, C_LINKAGE_ENDS, "#endif\n"])


def _source(machine: MachineTables) -> str:
    lines = [
        banner("tables of one machine, generated.", _identities(machine)),
        '#include "gw_machine.h"\n',
        "const char gw_machine_digest[sizeof GW_MACHINE_DIGEST] = GW_MACHINE_DIGEST;\n",
    ]
    for table in machine.tables:
        prefix = "static " if table.private else ""
        lines.append(comment(table.comment))
        left = f"{prefix}{_declaration(table)} = "
        lines.append(f"{left}{_initializer(table.values, column=len(left))};\n")
    return "\n".join(lines)


def _declaration(table: MachineTable) -> str:
    const = "GW_MACHINE_CONST" if table.replaceable else "const"
    return f"{const} {table.c_type} {table.name}" + "".join(f"[{size}]" for size in table.extents)


def _initializer(value: Value, indent: int = 0, column: int = 0) -> str:
    """Return an initializer; lines after its first are indented, the first begins at a column."""
    if not isinstance(value, tuple):
        return _number(value) if isinstance(value, int) else value
    pad = " " * (indent + 4)
    if any(isinstance(member, tuple) for member in value):
        inner = indent + 4
        body = ",\n".join(pad + _initializer(member, inner, inner) for member in value)
    else:
        texts = ", ".join(_initializer(member) for member in value)
        if column + len(texts) < LINE_LENGTH - 4:
            return f"{{{texts}}}"
        filled = textwrap.fill(texts, LINE_LENGTH - indent - 4, break_on_hyphens=False)
        body = textwrap.indent(filled, pad)
    return "{\n" + body + "\n" + " " * indent + "}"


def _number(value: int) -> str:
    """Return a constant whose type holds the value also where ``int`` has 16 bits."""
    size = abs(value)
    if size <= _INT16_HIGH:
        return str(value)
    if size <= _INT32_HIGH:
        return f"INT32_C({value})"
    if value == -_INT32_HIGH - 1:
        return "INT32_MIN"
    return f"UINT32_C({value})" if 0 < value <= _UINT32_HIGH else f"INT64_C({value})"
