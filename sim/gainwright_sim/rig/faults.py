"""What may break on a simulated axis, mostly without anybody saying so."""

from __future__ import annotations

from dataclasses import dataclass

FAULT_KINDS = {
    "none": "nothing breaks",
    "position_frozen": "the encoder reports what it reported last, and calls it valid",
    "torque_reversed": "the motor's torque has the wrong sign",
    "torque_lost": "the motor gives no torque",
    "torque_stuck": "the motor's torque stays what it was",
    "axis_blocked": "the motor does not turn",
    "pulse_lost": "the test pulse is not added to the torque",
    "load_frozen": "the sensor at the load reports what it reported last",
    "load_reversed": "the sensor at the load counts the wrong way",
    "permit_released": "the permit is released",
    "drive_not_ready": "the drive reports a fault of its own",
    "feedback_invalid": "encoder or current measurement is reported invalid",
    "window_left": "the axis is reported outside its travel window",
}
"""In words, by name: first those of ``enum rig_fault_kind`` in its order, then those of inputs."""
OF_INPUTS = {
    "permit_released": "run_permit",
    "drive_not_ready": "drive_ready",
    "feedback_invalid": "feedback_valid",
    "window_left": "inside_travel_window",
}
"""Kinds that are said: the input that is 0 from then on."""
AT_THE_LOAD = ("load_frozen", "load_reversed")
"""Kinds that only a trial with a sensor at the load can meet."""
LOOP_STAYS_WHOLE = ("pulse_lost",)
"""Kinds that leave the loop as it is: strong noise may excite it enough for a verdict."""


@dataclass(frozen=True, slots=True)
class RigFault:
    """From sequencer tick ``start`` on something is broken; only :data:`OF_INPUTS` are said."""

    kind: str = "none"
    """One of :data:`FAULT_KINDS`."""
    start: int = 0


SOUND = RigFault()


def fault_data(fault: RigFault) -> dict[str, int]:
    """Return a fault as ``rig_fault``; one of inputs breaks nothing there."""
    kind = "none" if fault.kind in OF_INPUTS else fault.kind
    return {"kind": list(FAULT_KINDS).index(kind), "from": fault.start}
