"""Gains over the position: from what was found at every place to C, alone or inside an export."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from gainwright.errors import input_error

if TYPE_CHECKING:
    from gainwright.language.model import Trial
    from gainwright_codegen.axis_c.tables import AxisData, StageTables
    from gainwright_codegen.schedule_c.schedule import StageSchedule
    from gainwright_sim.machine import Machine

EVERYWHERE_FILE = "everywhere.json"
"""Of a record of all places."""


def schedule_sources(
    points: Mapping[str, Sequence[tuple[float, float]]], trial: Trial, machine: Machine
) -> dict[str, bytes]:
    """Return the C of (position in m, gain) by stage; nothing without any."""
    from gainwright_codegen.axis_c.tables import axis_tables
    from gainwright_codegen.c_text import identity
    from gainwright_codegen.schedule_c.schedule import schedule_files, schedule_of
    from gainwright_sim.machine import machine_digest
    from gainwright_sim.rig.axis import axis_data

    if not points:
        return {}
    tables = {table.stage.name: table for table in axis_tables(trial, axis_data(machine))}
    stages = [schedule_of(tables[name], found) for name, found in points.items()]
    identities = [
        identity("Trial", trial.name, trial.digest),
        identity("Machine", machine.name, machine_digest(machine)),
    ]
    return schedule_files(machine.name, identities, stages)


def read_schedules(
    folder: str, trial: Trial, axis: AxisData, tables: Sequence[StageTables]
) -> list[StageSchedule]:
    """Return the gains over the position that a record of all places holds.

    Raises:
        InputError: there is no such record, it is of another trial or machine than the export, or
            not every place has a result.
    """
    from gainwright_codegen.schedule_c.schedule import schedule_of
    from gainwright_sim.rehearsal.compare import check_same_machine, read_record

    record = read_record(folder, EVERYWHERE_FILE)
    check_same_machine("--schedule", folder, record, axis.name)
    _check_digests(folder, record, trial, axis)
    points = record.get("schedule", {})
    if not points:
        raise input_error(
            folder, "--schedule", "no gains over the position",
            "a record with a result at every place, of a machine with positions_m",
            "rehearse --everywhere until every place has a result",
        )  # fmt: skip
    by_name = {table.stage.name: table for table in tables}
    try:
        return [
            schedule_of(by_name[name], [(point["position_m"], point["gain"]) for point in found])
            for name, found in points.items()
        ]
    except (ValueError, KeyError, TypeError) as error:
        raise input_error(
            folder, "--schedule", f"gains over the position that make no table: {error}",
            "two positions or more that differ, each with a gain of the ladder",
            "rehearse --everywhere again, and leave the record as it was written",
        ) from error  # fmt: skip


def _check_digests(folder: str, record: Mapping[str, Any], trial: Trial, axis: AxisData) -> None:
    """Raise InputError unless the ladder of the record is that of the export."""
    if "parts" in record:
        raise input_error(
            folder, "--schedule", "the record of several trials", "the record of one of them",
            f"name the folder of trial {trial.name} inside it",
        )  # fmt: skip
    for key, name, own in (
        ("trial_digest", f"trial {trial.name}", trial.digest),
        ("machine_digest", f"machine {axis.name} with these start settings", axis.digest),
    ):
        if record.get(key) != own:
            raise input_error(
                folder, "--schedule", f"{key} {str(record.get(key))[:16]}",
                f"{own[:16]}, of {name}, as it is exported",
                "give the export the same --trial and --after that the record was made with, or "
                "rehearse --everywhere again",
            )  # fmt: skip
