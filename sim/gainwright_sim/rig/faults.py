"""What may break on a simulated axis without anybody saying so."""

from __future__ import annotations

from dataclasses import dataclass

FAULT_KINDS = {
    "none": "nothing breaks",
    "position_frozen": "the encoder reports what it reported last, and calls it valid",
    "torque_reversed": "the motor's torque has the wrong sign",
    "torque_lost": "the motor gives no torque",
    "axis_blocked": "the motor does not turn",
    "pulse_lost": "the test pulse is not added to the torque",
    "load_frozen": "the sensor at the load reports what it reported last",
    "load_reversed": "the sensor at the load counts the wrong way",
}
"""In words, by name, in the order of ``enum rig_fault_kind``."""
AT_THE_LOAD = ("load_frozen", "load_reversed")
"""Kinds that only a trial with a sensor at the load can meet."""
LOOP_STAYS_WHOLE = ("pulse_lost",)
"""Kinds that leave the loop as it is: strong noise may excite it enough for a verdict."""


@dataclass(frozen=True, slots=True)
class RigFault:
    """From sequencer tick ``start`` on something is broken, and nobody says so."""

    kind: str = "none"
    """One of :data:`FAULT_KINDS`."""
    start: int = 0


SOUND = RigFault()
