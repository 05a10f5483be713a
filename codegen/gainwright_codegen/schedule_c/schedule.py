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

    A gain is that of the highest rung that is not above it.

    Raises:
        ValueError: positions that do not differ by 1 um, or a gain below the lowest rung.
    """
    ordered = sorted(points)
    words = [_word(tables, gain) for _, gain in ordered]
    places = [round(position * 1e6) for position, _ in ordered]
    return StageSchedule(tables, GainSchedule(tuple(places), tuple(words)))


ROUNDING = 1e-9
"""What a gain may have lost on its way through a record, relative."""


def _word(tables: StageTables, gain: float) -> int:
    below = [word for word, rung in zip(tables.ladder.raw, tables.gains, strict=True)
             if rung <= gain * (1.0 + ROUNDING)]  # fmt: skip
    if not below:
        raise ValueError(
            f"{tables.stage.name}: expected a gain from {tables.gains[0]:g} {tables.kind.unit} on, "
            f"found {gain:g}"
        )
    return below[-1]


def schedule_files(
    machine: str, identities: Sequence[str], stages: Iterable[StageSchedule]
) -> dict[str, bytes]:
    """Return the files by name; ``identities`` tie them to trial and machine."""
    stages, name = tuple(stages), schedule_unit(machine)
    opening = block_comment([CAUTION, *identities])
    guard = f"{name.upper()}_H"
    objects = [(schedule_object(machine, stage.tables), stage) for stage in stages]
    header = [
        opening,
        f'#ifndef {guard}\n#define {guard}\n\n#include "{HEADER}"\n',
        *(f"extern const gw_schedule {name};" for name, _ in objects),
        "\n#endif\n",
    ]
    source = [
        opening,
        f'#include "{name}.h"\n',
        *(_table(name, stage) for name, stage in objects),
    ]
    return {
        HEADER: (Path(__file__).parent / HEADER).read_bytes(),
        f"{name}.h": "\n".join(header).encode("ascii"),
        f"{name}.c": "\n".join(source).encode("ascii"),
    }


def schedule_unit(machine: str) -> str:
    """Return the name of the files with the tables of a machine, without suffix."""
    return f"gw_schedule_{machine_identifier(machine)}"


def schedule_object(machine: str, tables: StageTables) -> str:
    """Return the C name of one stage's schedule."""
    return f"{schedule_unit(machine)}_{tables.stage.name}"


def _table(prefix: str, stage: StageSchedule) -> str:
    tables, schedule = stage.tables, stage.schedule
    gains = ", ".join(f"{word * tables.word_value:.4g}" for word in schedule.gains)
    bits = tables.ladder.format.fraction_bits
    positions = array([str(place) for place in schedule.positions_um])
    words = array([str(word) for word in schedule.gains])
    return (
        comment(f"{tables.stage.title}: {gains} {tables.kind.unit}; rounded to rungs.")
        + f"\nstatic const int32_t {prefix}_position_um[{len(schedule.gains)}] = {positions};\n"
        f"static const int32_t {prefix}_gain[{len(schedule.gains)}] = {words};\n"
        f"const gw_schedule {prefix} = {{\n    {prefix}_position_um,\n    {prefix}_gain,\n"
        f"    {len(schedule.gains)},\n    {bits}\n}};\n"
    )
