"""What of a machine description goes into an export: the drive's side, not the mechanics."""

from __future__ import annotations

from gainwright.detector.timing import DriveRatings, DriveTiming
from gainwright_codegen.axis_c.tables import AxisData
from gainwright_sim.machine import Machine, machine_digest
from gainwright_sim.machine.model import start_settings


def axis_data(machine: Machine) -> AxisData:
    """Return the export's view of a machine."""
    drive = machine.drive
    return AxisData(
        name=machine.name,
        title=machine.description,
        digest=machine_digest(machine),
        timing=DriveTiming(
            control_tick_s=drive.control_tick_s,
            torque_delay_ticks=drive.torque_delay_ticks,
            current_loop_time_constant_s=drive.current_loop_time_constant_s,
            speed_filter_time_constant_s=drive.speed_filter_time_constant_s,
            speed_lag_ticks=0.5 if drive.speed_source == "difference" else 0.0,
        ),
        ratings=DriveRatings(
            rated_torque_nm=drive.rated_torque_nm,
            torque_limit_nm=drive.torque_limit_nm,
            top_speed_rad_per_s=drive.top_speed_rad_per_s,
            encoder_counts_per_turn=drive.encoder_counts_per_turn,
            rotor_inertia_kgm2=drive.rotor_inertia_kgm2,
        ),
        start_settings=start_settings(machine),
    )
