"""What was chosen, in the units that drives use, with the conversion; and what rules would say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from gainwright.detector.timing import lag_time_s
from gainwright.stage_kind import STAGE_KINDS
from gainwright_sim.machine import Machine
from gainwright_sim.rig.axis import axis_data


def unit_lines(machine: Machine, settings: Mapping[str, float]) -> Iterator[str]:
    """Yield one line for each chosen setting.

    Args:
        machine: whose ratings are the base of per-unit values.
        settings: by name of the stage kind, in its unit; as chosen.
    """
    for name, value in settings.items():
        if value > 0.0:
            yield STAGE_KINDS[name].in_drive_units(machine.drive.ratings, value)


def rule_lines(machine: Machine) -> Iterator[str]:
    """Yield what textbook rules make of the rigid body: for comparison, not for use.

    Symmetric optimum (Kessler 1958): Kp = J/(2 Ts), Tn = 4 Ts with Ts the sum of all small lags;
    position loop without overshoot: Kv = 1/(4 T), T the lag of that speed loop, taken as 4 Ts
    (the lag of its reference filter). Both cited from memory; springs do not count.
    """
    lag_s = lag_time_s(axis_data(machine).timing)
    gain = machine.chain.total_inertia_kgm2 / (2.0 * lag_s)
    yield (
        f"symmetric optimum: speed gain {gain:.4g} N m s/rad, integral time {4e3 * lag_s:.3g} ms "
        f"(J {machine.chain.total_inertia_kgm2:.4g} kg m2, sum of lags {1e3 * lag_s:.3g} ms); "
        f"position gain without overshoot 1/(4 T) = {1.0 / (16.0 * lag_s):.4g} 1/s"
    )
