"""Writes the schedules of a machine: the static header, and one file with the tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from gainwright.fixed.schedule import GainSchedule
from gainwright_codegen.axis_c.layout import machine_identifier
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_codegen.c_text import CAUTION, array, block_comment, comment

HEADER = "gw_schedule.h"


@dataclass(frozen=True, slots=True)
class StageSchedule:
    """One stage's gain over the position."""

    tables: StageTables
    schedule: GainSchedule


def schedule_of(tables: StageTables, points: Iterable[tuple[float, float]]) -> StageSchedule:
    """Return a schedule of (position in m, gain in the stage's unit) on rungs of its ladder.

    Raises:
        ValueError: positions that do not differ by 1 um, or a gain that is no rung.
    """
    ordered = sorted(points)
    words = [tables.ladder.raw[tables.gains.index(gain)] for _, gain in ordered]
    places = [round(position * 1e6) for position, _ in ordered]
    return StageSchedule(tables, GainSchedule(tuple(places), tuple(words)))


def schedule_files(
    machine: str, identities: Sequence[str], stages: Iterable[StageSchedule]
) -> dict[str, bytes]:
    """Return the files by name; ``identities`` tie them to trial and machine."""
    name = machine_identifier(machine)
    parts = [
        block_comment([CAUTION, *identities]),
        f'#include "{HEADER}"\n',
        *(_table(name, stage) for stage in stages),
    ]
    header = (Path(__file__).parent / HEADER).read_bytes()
    return {HEADER: header, f"gw_schedule_{name}.c": "\n".join(parts).encode("ascii")}


def _table(name: str, stage: StageSchedule) -> str:
    tables, schedule = stage.tables, stage.schedule
    prefix = f"gw_schedule_{name}_{tables.stage.name}"
    gains = ", ".join(f"{word * tables.word_value:.4g}" for word in schedule.gains)
    bits = tables.ladder.format.fraction_bits
    positions = array([str(place) for place in schedule.positions_um])
    words = array([str(word) for word in schedule.gains])
    return (
        comment(f"{tables.stage.title}: {gains} {tables.kind.unit}; rounded to rungs.")
        + f"\nstatic const int32_t {prefix}_position_um[{len(schedule.gains)}] = {positions};\n"
        f"static const int32_t {prefix}_gain[{len(schedule.gains)}] = {words};\n"
        f"extern const gw_schedule {prefix};\n"
        f"const gw_schedule {prefix} = {{\n    {prefix}_position_um, {prefix}_gain, "
        f"{len(schedule.gains)}, {bits}\n}};\n"
    )
