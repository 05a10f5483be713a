"""What of a machine description goes into an export: the drive's side, not the mechanics."""

from __future__ import annotations

from gainwright_codegen.axis_c.tables import AxisData
from gainwright_sim.machine import Machine, machine_digest
from gainwright_sim.machine.model import start_settings


def axis_data(machine: Machine) -> AxisData:
    """Return the export's view of a machine."""
    return AxisData(
        name=machine.name,
        title=machine.description,
        digest=machine_digest(machine),
        timing=machine.drive.timing,
        ratings=machine.drive.ratings,
        start_settings=start_settings(machine),
        cruise_speed_rad_per_s=machine.motion.cruise_speed_rad_per_s,
    )
