"""The figures of a cross-check, as a table in words and as data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from gainwright_codegen.crosscheck.run import Crosscheck, Outcome
from gainwright_codegen.crosscheck.workload import Instructions

HEADINGS = ("processor", "same bits", "flash", "RAM", "stack", "control tick", "sequencer tick")
_NOTES = (
    "flash: bytes of code and tables that the four functions of gw_axis.h need, without self-test.",
    "RAM: bytes of one gw_axis and of what is static besides. Stack: bytes, control tick and",
    "sequencer tick; the one may interrupt the other. Ticks: instructions, least/typical/worst.",
    "Same bits: every golden vector is that of the Python reference, and every result and the",
    "whole memory of the axis are those of this computer, tick by tick.",
    "Processors with the other byte order run it as a program: every number is compared, nothing",
    "is counted. Those named gcc are built by gcc, the others by clang; all with -O2.",
)


def table(result: Crosscheck) -> list[tuple[str, ...]]:
    """Return one line of texts per processor, in the order of HEADINGS."""
    return [_line(result, outcome) for outcome in result.outcomes]


def notes(result: Crosscheck) -> list[str]:
    """Return what the table does not say: its units, flash by part, what is missing or changed."""
    lines = list(_NOTES)
    for outcome in result.outcomes:
        if outcome.flash:
            parts = ", ".join(f"{name} {size}" for name, size in outcome.flash)
            lines.append(f"{outcome.target}, flash by file: {parts}.")
        if outcome.costs is not None:
            parts = ", ".join(f"{name} {count}" for name, count in outcome.costs.where)
            lines.append(f"{outcome.target}, instructions of a sequencer tick: {parts}.")
        if outcome.helpers:
            lines.append(f"{outcome.target} needs of the compiler: {', '.join(outcome.helpers)}.")
        if outcome.missing:
            lines.append(f"{outcome.target} was not tried: {outcome.missing}.")
        if outcome.failed_vectors:
            lines.append(f"{outcome.target}: {outcome.failed_vectors} golden vectors fail.")
    if result.changed:
        lines.append(f"Not as exported: {', '.join(result.changed)}.")
    return lines


def document(result: Crosscheck) -> dict[str, Any]:
    """Return everything as JSON data."""
    return {
        "identical": result.identical,
        "changed_files": list(result.changed),
        "processors": [_data(result, outcome) for outcome in result.outcomes],
    }


def markdown(result: Crosscheck) -> str:
    """Return the table for a page."""
    rows: Sequence[Sequence[str]] = (HEADINGS, ["---"] * len(HEADINGS), *table(result))
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)


def _line(result: Crosscheck, outcome: Outcome) -> tuple[str, ...]:
    if outcome.missing:
        return (outcome.target, "not tried", *[""] * (len(HEADINGS) - 2))
    same = "yes" if result.is_identical(outcome) else "NO"
    ram = str(outcome.axis_bytes + outcome.static_ram) if outcome.axis_bytes else ""
    if outcome.costs is None:
        return (outcome.target, same, "", ram, "", "", "")
    control, sequencer = outcome.costs.control, outcome.costs.sequencer
    return (
        outcome.target,
        same,
        str(sum(size for _, size in outcome.flash)),
        ram,
        f"{control.stack_bytes}, {sequencer.stack_bytes}",
        _ticks(control),
        _ticks(sequencer),
    )


def _ticks(counted: Instructions) -> str:
    return f"{counted.least}/{counted.typical}/{counted.worst}"


def _data(result: Crosscheck, outcome: Outcome) -> dict[str, Any]:
    data: dict[str, Any] = {"processor": outcome.target}
    if outcome.missing:
        return data | {"not_tried": outcome.missing}
    data |= {
        "identical": result.is_identical(outcome),
        "failed_vectors": outcome.failed_vectors,
        "digest": outcome.digest,
        "axis_bytes": outcome.axis_bytes,
    }
    if outcome.costs is not None:
        data |= {
            "flash_bytes": dict(outcome.flash),
            "static_ram_bytes": outcome.static_ram,
            "compiler_functions": list(outcome.helpers),
            "control_tick": _counted(outcome.costs.control),
            "sequencer_tick": _counted(outcome.costs.sequencer),
            "sequencer_tick_by_function": dict(outcome.costs.where),
        }
    return data


def _counted(counted: Instructions) -> dict[str, int]:
    return {
        "least_instructions": counted.least,
        "typical_instructions": counted.typical,
        "worst_instructions": counted.worst,
        "stack_bytes": counted.stack_bytes,
    }
