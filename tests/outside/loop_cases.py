"""Fully specified speed loops with their stability limits.

The limits were computed for this project by eigenvalues and, apart from R2d, by the gain margin in
python-control; no publication holds them. Torque held over the tick and applied ``delay`` ticks
after its speed sample, controller Kp (1 + alpha z/(z-1)), alpha = Ts/Tn.
"""

from __future__ import annotations

import dataclasses

from gainwright_sim.machine import Chain, Friction
from gainwright_sim.theory import LoopTiming

RIGID = Chain((1e-3,), (), ())


@dataclasses.dataclass(frozen=True)
class Case:
    chain: Chain
    tick_s: float
    delay: int
    integral_time_s: float
    gain: float
    """The limit, Nms/rad."""
    frequency_rad_per_s: float
    frequency_hz: float
    viscous: float = 0.0
    difference: bool = False

    @property
    def friction(self) -> Friction:
        return Friction(motor_viscous_nms_per_rad=self.viscous)

    @property
    def timing(self) -> LoopTiming:
        source = "difference" if self.difference else "sensor"
        return LoopTiming(
            self.tick_s, self.delay, speed_source=source, integral_time_s=self.integral_time_s
        )


PLANT_A = Chain((1e-3, 2e-3), (1500.0,), (0.05,))
PLANT_B = Chain((1e-3, 1e-3), (200.0,), (0.01,))
PLANT_C = Chain((0.01, 0.05), (5.0,), (0.005,))
PLANT_D = Chain((2e-4, 8e-4), (1000.0,), (0.01,))
CASES = {
    "R1": Case(RIGID, 250e-6, 1, 0.0, 4.0, 4188.79, 666.667),
    "R2": Case(RIGID, 250e-6, 1, 0.01, 3.9, 4130.81, 657.439),
    "R3": Case(RIGID, 250e-6, 2, 0.01, 2.38110, 2450.86, 390.066),
    "R4": Case(Chain((0.02,), (), ()), 1e-3, 1, 0.02, 19.0264, 1019.62, 162.278, viscous=0.05),
    "R2d": Case(RIGID, 250e-6, 1, 0.01, 3.20107, 3080.69, 490.308, difference=True),
    "A1": Case(PLANT_A, 250e-6, 1, 0.01, 3.60427, 4166.60, 663.136),
    "A2": Case(PLANT_A, 1e-3, 1, 0.05, 0.167040, 1537.92, 244.767),
    "B1": Case(PLANT_B, 1e-3, 1, 0.05, 0.784542, 1047.13, 166.656),
    "C1": Case(PLANT_C, 1e-3, 1, 0.05, 9.79837, 1035.91, 164.870),
    "D1": Case(PLANT_D, 250e-6, 1, 0.01, 0.560916, 4181.62, 665.525),
    "D2": Case(PLANT_D, 1e-3, 1, 0.0, 0.0257163, 2478.09, 394.400),
}
