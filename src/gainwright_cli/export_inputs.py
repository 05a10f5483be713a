"""What an export is made of beside its trial: for ``export``, and for ``prove --exported``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from gainwright_cli.rehearse_records import started_from
from gainwright_cli.schedules import read_schedules

if TYPE_CHECKING:
    from gainwright.language.model import Trial
    from gainwright_codegen.axis_c.tables import AxisData
    from gainwright_codegen.schedule_c.schedule import StageSchedule
    from gainwright_sim.machine import Machine


def to_export(
    trial: Trial, machine: Machine, after: str | None, schedule: str | None
) -> tuple[AxisData, Sequence[StageSchedule]]:
    """Return what an export is made of beside its trial.

    Args:
        trial: that is exported.
        machine: as its description gives it.
        after: record whose results it starts from (``--after``).
        schedule: record of all places whose gains go with it (``--schedule``).

    Raises:
        InputError: the machine does not fit the trial, or a record does not fit both.
    """
    from gainwright_codegen.axis_c.tables import axis_tables
    from gainwright_sim.rig.axis import axis_data
    from gainwright_sim.rig.fit import check_fit

    if after is not None:
        machine = started_from(machine, after)
    axis = axis_data(machine)
    tables = axis_tables(trial, axis)
    check_fit(trial, machine, tables)
    return axis, () if schedule is None else read_schedules(schedule, trial, axis, tables)
