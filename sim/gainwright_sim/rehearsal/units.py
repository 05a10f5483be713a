"""What was chosen, in the units that drives use, with the conversion; and what rules would say."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from gainwright.detector.timing import lag_time_s
from gainwright_sim.machine import Machine
from gainwright_sim.rig.axis import axis_data

PER_SECOND_OF_METRE_PER_MINUTE_AND_MM = 1000.0 / 60.0
"""1 (m/min)/mm is 16.667 1/s."""


def unit_lines(machine: Machine, settings: Mapping[str, float]) -> Iterator[str]:
    """Yield one line for each chosen setting.

    Args:
        machine: whose ratings are the base of per-unit values.
        settings: by name of the stage kind, in its unit; as chosen.
    """
    drive = machine.drive
    for name, value in settings.items():
        if name == "speed_gain":
            base = drive.rated_torque_nm / drive.top_speed_rad_per_s
            per_min = value * 2.0 * math.pi / 60.0
            yield (
                f"speed gain {value:.4g} N m s/rad = {value / base:.4g} per unit (divided by rated "
                f"torque / top speed, {base:.4g}) = {per_min:.4g} N m/(1/min) (times 2 pi/60)"
            )
        elif name == "integral_rate" and value > 0.0:
            yield f"integral time (reset time) {1e3 / value:.3g} ms (1000 / {value:.4g} 1/s)"
        elif name in ("position_gain", "load_position_gain"):
            linear = value / PER_SECOND_OF_METRE_PER_MINUTE_AND_MM
            over = " over the load" if name == "load_position_gain" else ""
            yield (
                f"position gain{over} {value:.4g} 1/s = {linear:.3g} (m/min)/mm (divided by "
                f"16.67); at 1 m/s without feedforward the position lags by {1e3 / value:.3g} mm"
            )


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
