"""``gainwright rehearse`` beside a record (``--reference``), or from its results (``--after``)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gainwright_cli.console import refuse
from gainwright_cli.schedules import EVERYWHERE_FILE

if TYPE_CHECKING:
    from gainwright_sim.machine import Machine
    from gainwright_sim.rehearsal.summary import Summary

SETTINGS = ("speed_gain", "integral_rate", "position_gain")
"""Results that a machine may start from."""


def read_reference(option: str, folder: str, machine: Machine) -> dict[str, Any]:
    """Return the summary of a record of the same machine; InputError if it is none."""
    from gainwright_sim.rehearsal.compare import check_same_machine, read_record

    every = option == "--after" and (Path(folder) / EVERYWHERE_FILE).is_file()
    record = read_record(folder, EVERYWHERE_FILE) if every else read_record(folder)
    check_same_machine(option, folder, record, machine.name)
    return record


def started_from(machine: Machine, folder: str) -> Machine:
    """Return the machine with the results of a record (``--after``) as its start settings.

    Raises:
        InputError: there is no record of that machine, or it has no result.
    """
    from gainwright_sim.machine.model import with_settings

    record = read_reference("--after", folder, machine)
    results = {
        stage["stage"]: stage["result"]
        for stage in record.get("stages", ())
        if stage.get("stage") in SETTINGS and stage.get("result")
    }
    results |= {
        one["setting"]: one["value"]
        for one in record.get("chosen", ())
        if one.get("setting") in SETTINGS
    }
    if not results:
        raise refuse(
            "--after", f"{folder}, a record without results that a machine could start from",
            f"a record with a result of {', '.join(SETTINGS)}",
            "rehearse the trial that finds them, with --out",
        )  # fmt: skip
    return with_settings(machine, results)


def reference_lines(record: Mapping[str, Any], summary: Summary, folder: str) -> Iterator[str]:
    """Yield what moved against the record, and what that hints at."""
    from gainwright_sim.rehearsal.compare import differences, hints, other_sources

    found = differences(record, summary.as_json())
    moved = [item for item in found if item.moved]
    sources = other_sources(record, summary.as_json())
    other = f" (made from another {', '.join(sources)})" if sources else ""
    yield f"Against the reference {folder}{other}:"
    if not moved:
        yield "  nothing moved"
    for item in moved:
        before, after = (_text(value) for value in (item.before, item.after))
        ratio = "" if item.ratio is None else f", x {item.ratio:.3f}"
        yield f"  {item.what}: {before} -> {after}{ratio}"
    for hint in hints(found):
        yield f"  hint: {hint}"


def _text(value: str | float | None) -> str:
    if value is None:
        return "none"
    return value if isinstance(value, str) else f"{value:.4g}"
