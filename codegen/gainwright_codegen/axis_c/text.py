"""Makes ``gw_machine_NAME.h`` and ``gw_machine_NAME.c`` from the tables of a machine."""

from __future__ import annotations

import hashlib
import textwrap
from collections.abc import Iterable

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
    only_with_trial,
)

_INT16_HIGH, _INT32_HIGH, _UINT32_HIGH = 2**15 - 1, 2**31 - 1, 2**32 - 1


def machine_sources(machine: MachineTables) -> dict[str, bytes]:
    """Return the text of both files by name."""
    return {
        f"{machine.object}.h": _header(machine).encode("ascii"),
        f"{machine.object}.c": _source(machine).encode("ascii"),
    }


def _identities(machine: MachineTables) -> list[str]:
    return [
        identity("Machine", machine.name, machine.digest),
        machine.title,
        f"1.0 of torque is the rated torque, {machine.rated_torque_nm!r} Nm; 1.0 of speed is the "
        f"top speed, {machine.top_speed_rad_per_s!r} rad/s; a control tick is "
        f"{machine.control_tick_us!r} us.",
    ]


def tables_fingerprint(machine: MachineTables) -> str:
    """Return the first 32 bits of a digest over all numbers of a machine, as the preprocessor has
    it: they depend on who designed them, too."""
    numbers = [f"{item.name} {item.value}" for item in machine.constants]
    numbers += [f"{table.name} {_initializer(table.values)}" for table in machine.tables]
    return fingerprint(hashlib.sha256("\n".join(numbers).encode("ascii")).hexdigest())


def only_with_tables(name: str, machine: MachineTables) -> str:
    """Return lines that stop a compiler where the header of a machine, included before, is another
    one, or says other numbers."""
    return (
        f"#if ({machine.prefix}_FINGERPRINT != {fingerprint(machine.digest)}) \\\n"
        f"    || ({machine.prefix}_TABLES_FINGERPRINT != {tables_fingerprint(machine)})\n"
        f'#error "{name} and {machine.object}.h are from different exports"\n'
        "#endif"
    )


def _header(machine: MachineTables) -> str:
    guard = f"{machine.object.upper()}_H"
    lines = [
        banner("constants and tables of one machine, generated.", _identities(machine)),
        f"#ifndef {guard}\n#define {guard}\n\n#include <stdint.h>\n",
        *(f'#include "{name}"' for name in machine.includes),
        "",
        comment("Trial and static files that this was made for."),
        only_with_trial(f"{machine.object}.h", machine.trial_digest),
        f"#if GW_RUNTIME_VERSION != {RUNTIME_VERSION}",
        f'#error "{machine.object}.h was made for another version of the static files"',
        "#endif\n",
        f"#define {machine.prefix}_NAME {c_string(machine.name)}",
        f"#define {machine.prefix}_DIGEST {c_string(machine.digest)}",
        f"#define {machine.prefix}_FINGERPRINT {fingerprint(machine.digest)}",
        comment("The same of all numbers of the machine, here and in its tables."),
        f"#define {machine.prefix}_TABLES_FINGERPRINT {tables_fingerprint(machine)}\n",
    ]
    for item in machine.constants:
        lines += [comment(item.comment), f"#define {item.name} {number(item.value)}\n"]
    lines += [*machine.checks, C_LINKAGE_BEGINS]
    for table in machine.tables:
        if not table.private:
            lines += [comment(table.comment), f"extern {_declaration(table)};\n"]
    return "\n".join([*lines, C_LINKAGE_ENDS, "#endif\n"])


def _source(machine: MachineTables) -> str:
    lines = [
        banner("tables of one machine, generated.", _identities(machine)),
        f'#include "{machine.object}.h"\n',
        only_with_trial(f"{machine.object}.c", machine.trial_digest),
        only_with_tables(f"{machine.object}.c", machine) + "\n",
    ]
    for table in machine.tables:
        prefix = "static " if table.private else ""
        lines.append(comment(table.comment))
        left = f"{prefix}{_declaration(table)} = "
        lines.append(f"{left}{_initializer(table.values, column=len(left))};\n")
    return "\n".join(lines)


def _declaration(table: MachineTable) -> str:
    return f"const {table.c_type} {table.name}" + "".join(f"[{size}]" for size in table.extents)


def _initializer(value: Value, indent: int = 0, column: int = 0) -> str:
    """Return an initializer; lines after its first are indented, the first begins at a column."""
    if not isinstance(value, tuple):
        return number(value) if isinstance(value, int) else value
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


def unsigned(words: Iterable[int]) -> tuple[str, ...]:
    """Return constants of type ``uint32_t``."""
    return tuple(f"UINT32_C({word})" for word in words)


def bits(words: Iterable[int]) -> tuple[str, ...]:
    """Return the same in hexadecimal, where single bits mean something."""
    return tuple(f"0x{word:08X}U" for word in words)


def number(value: int) -> str:
    """Return a constant whose type holds the value also where ``int`` has 16 bits."""
    size = abs(value)
    if size <= _INT16_HIGH:
        return str(value)
    if size <= _INT32_HIGH:
        return f"INT32_C({value})"
    if value == -_INT32_HIGH - 1:
        return "INT32_MIN"
    return f"UINT32_C({value})" if 0 < value <= _UINT32_HIGH else f"INT64_C({value})"
