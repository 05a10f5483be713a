"""``gainwright compare``: which outcomes, limits, frequencies and results moved."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gainwright_cli.console import add_json_option, console, print_json, refuse

if TYPE_CHECKING:
    from gainwright_sim.campaign.compare import FamilyDifference
    from gainwright_sim.rehearsal.compare import Difference

LISTED = 10


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("before", metavar="RECORD", help="folder written by --out")
    parser.add_argument("after", metavar="RECORD", help="folder of the same kind")
    add_json_option(parser)


def run(arguments: argparse.Namespace) -> int:
    folders = arguments.before, arguments.after
    kinds = [(Path(folder) / "campaign.json").is_file() for folder in folders]
    if kinds[0] != kinds[1]:
        raise refuse(
            "RECORD", "the record of a campaign and that of a rehearsal", "two of a kind",
            "compare two folders of rehearse --out, or two of campaign --out",
        )  # fmt: skip
    return _campaigns(arguments) if kinds[0] else _rehearsals(arguments)


def _rehearsals(arguments: argparse.Namespace) -> int:
    from gainwright_sim.rehearsal.compare import (
        check_same_machine,
        differences,
        hints,
        other_sources,
        read_record,
    )

    before, after = (read_record(folder) for folder in (arguments.before, arguments.after))
    check_same_machine("RECORD", arguments.after, after, str(before.get("machine")))
    found, sources = differences(before, after), other_sources(before, after)
    if arguments.json:
        moved = [{**asdict(item), "ratio": item.ratio} for item in found]
        print_json({"other_sources": sources, "differences": moved})
    else:
        screen = console()
        screen.print(f"Made from another {', '.join(sources)}." if sources else
                     "Made from the same trial, machine and seed.", markup=False)  # fmt: skip
        screen.print(f"{'':<32}{'before':>17}{'after':>17}", markup=False)
        for item in found:
            screen.print(_line(item), markup=False)
        for hint in hints(found):
            screen.print(f"hint: {hint}", markup=False)
    return int(any(item.moved for item in found))


def _line(item: Difference) -> str:
    if isinstance(item.before, str) and isinstance(item.after, str):
        return f"{item.what:<32}{f'{item.before} -> ' if item.moved else ''}{item.after}"
    ratio = item.ratio if item.moved else None
    change = "" if not item.moved else "  moved" if ratio is None else f"  x {ratio:.3f}"
    return f"{item.what:<32}{_text(item.before):>17}{_text(item.after):>17}{change}"


def _text(value: str | float | None) -> str:
    if value is None:
        return "none"
    return value if isinstance(value, str) else f"{value:.4g}"


def _campaigns(arguments: argparse.Namespace) -> int:
    from gainwright_sim.campaign.compare import family_differences
    from gainwright_sim.rehearsal.compare import read_record

    before, after = (
        read_record(folder, "campaign.json") for folder in (arguments.before, arguments.after)
    )
    found = family_differences(before["axes"], after["axes"])
    if not found:
        raise refuse(
            "RECORD", "two campaigns without a common axis", "the same families and seeds",
            "run both with the same --family, --seed and --noise",
        )  # fmt: skip
    if arguments.json:
        print_json({"families": [asdict(family) for family in found]})
    else:
        for family in found:
            _print_family(family)
    return int(any(family.moved for family in found))


def _print_family(family: FamilyDifference) -> None:
    lines = [
        f"{family.family}, {family.axes} axes in both",
        f"  limits moved by more than 3 %    {family.limits_moved}",
        f"  results moved by more than 3 %   {family.results_moved}",
        f"  largest result / exact limit     {' -> '.join(map(_text, family.largest_result))}",
        *(f"  {count:>5}  {change}" for change, count in family.outcomes.items()),
    ]
    lines += [f"    axis {_axis(*pair)}" for pair in family.moved[:LISTED]]
    if len(family.moved) > LISTED:
        lines.append(f"    and {len(family.moved) - LISTED} more")
    for line in lines:
        console().print(line, markup=False)


def _axis(before: dict[str, Any], after: dict[str, Any]) -> str:
    parts = [
        f"{axis['outcome']} (limit {_text(axis['limit'])}, result {_text(axis['result'])})"
        for axis in (before, after)
    ]
    return f"{after['axis_seed']}: {parts[0]}\n      -> {parts[1]}"
