"""Reads the stages: which gain, which rungs, which margin."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gainwright.described.nearest import suggestion
from gainwright.language.model import Kind, Stage
from gainwright.language.reader import Reader
from gainwright.language.scope import Bounds

MOST_RUNGS = 128
LARGEST_RATIO = 2.0


def read_stages(reader: Reader) -> tuple[Stage, ...]:
    stages = []
    entries = [
        (name, place, entry, len(reader.problems), _whole_numbers(reader, entry, place))
        for name, place, entry in reader.entries("stages")
    ]
    limits = _shared_limits(entries)
    for name, place, entry, before, numbers in entries:
        _check_shares(reader, entry, place)
        rungs = numbers.get("rungs")
        _check_names(reader, entry, rungs, limits.get(entry.get("limit"), rungs), place)
        _check_margin(reader, entry, numbers.get("margin_rungs"), place)
        if len(reader.problems) == before and len(entry) == len(Stage.__slots__) - 1:
            stages.append(Stage(name=name, **{**entry, **numbers}))
    return tuple(stages)


def _whole_numbers(reader: Reader, entry: Mapping[str, Any], place: str) -> dict[str, int]:
    return {
        key: reader.whole(entry[key], f"{place}, {key}", low, high)
        for key, low, high in (("rungs", 2, MOST_RUNGS), ("margin_rungs", 1, MOST_RUNGS - 1))
        if key in entry
    }


def _shared_limits(entries: list[tuple[str, str, Any, int, dict[str, int]]]) -> dict[Any, int]:
    """Return, for each variable that several stages use one after the other, its longest ladder."""
    longest: dict[Any, int] = {}
    for _, _, entry, _, numbers in entries:
        limit, rungs = entry.get("limit"), numbers.get("rungs")
        if isinstance(limit, str) and rungs is not None:
            longest[limit] = max(rungs, longest.get(limit, 0))
    return longest


def _check_shares(reader: Reader, entry: Mapping[str, Any], place: str) -> None:
    limits = {
        "ratio": (1.0, LARGEST_RATIO),
        "margin": (0.0, 1.0),
        "pulse_share": (0.0, 1.0),
        "response_share": (0.0, 1.0),
        "burst_share": (0.0, 1.0),
        "silence_counts": (0.0, 1e6),
    }
    for key, (low, high) in limits.items():
        if key in entry and not low < entry[key] <= high:
            reader.problems.add(
                f"{place}, {key}",
                f"{entry[key]}",
                f"above {low:g}, at most {high:g}",
                "choose a value inside",
            )


def _check_names(
    reader: Reader,
    entry: Mapping[str, Any],
    rungs: int | None,
    limit_rungs: int | None,
    place: str,
) -> None:
    wanted: tuple[tuple[str, str, Mapping[str, Bounds | None], Kind], ...] = (
        ("rung", "output", reader.outputs, Kind.INTEGER),
        ("limit", "variable", reader.variables, Kind.INTEGER),
        ("result", "variable", reader.variables, Kind.INTEGER),
        ("onset", "variable", reader.variables, Kind.BOOLEAN),
    )
    for key, what, known, kind in wanted:
        if key not in entry:
            continue
        name, where = entry[key], f"{place}, {key}"
        if name not in known:
            reader.problems.add(
                where, f"the unknown {what} '{name}'", f"a declared {what}", suggestion(name, known)
            )
            continue
        reader.read_names.add(name)
        bounds = known[name]
        if bounds is not None and (bounds.kind is not kind or bounds.enumeration):
            reader.problems.add(
                where,
                f"'{name}' of kind {'enumeration' if bounds.enumeration else bounds.kind.value}",
                f"one of kind {kind.value}",
                f"name another {what}, or change its kind",
            )
        elif bounds is not None and kind is Kind.INTEGER and rungs is not None:
            longest = limit_rungs if key == "limit" else rungs
            _check_range(reader, name, bounds, longest or rungs, where)


def _check_range(reader: Reader, name: str, bounds: Bounds, rungs: int, where: str) -> None:
    if bounds.low < 0 or bounds.high > rungs - 1:
        reader.problems.add(
            where,
            f"'{name}' with the range {bounds.low} to {bounds.high}",
            f"a range inside 0 to {rungs - 1}, the rungs of the ladder",
            "narrow the range, or change the number of rungs",
        )


def _check_margin(
    reader: Reader, entry: Mapping[str, Any], margin_rungs: int | None, place: str
) -> None:
    if margin_rungs is None or "ratio" not in entry or "margin" not in entry:
        return
    kept = entry["ratio"] ** -margin_rungs
    if kept > 1.0 - entry["margin"]:
        reader.problems.add(
            f"{place}, margin_rungs",
            f"{margin_rungs} rungs, which leave {kept:.4f} of the limit",
            f"at most {1.0 - entry['margin']:.4f} of the limit, as margin = {entry['margin']} says",
            "use more margin_rungs, or a smaller margin",
        )
