"""What may break on a simulated axis, mostly without anybody saying so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FaultKind:
    """One way to break; the rig's C knows it as ``RIG_FAULT_`` and its name."""

    name: str
    words: str
    input: str | None = None
    """Input of the trial that is 0 from then on; None for what nobody says."""
    at_the_load: bool = False
    """Only a trial with a sensor at the load can meet it."""
    loop_stays_whole: bool = False
    """The loop can be judged all the same: without a pulse where strong noise excites it, or since
    it is a loop like another from then on; a result is wrong if exact theory says so."""
    loop_gain: float = 1.0
    """Times that of the sound axis, from then on."""


NO_FAULT = "none"

FAULT_KINDS: Mapping[str, FaultKind] = {
    kind.name: kind
    for kind in (
        FaultKind(
            "position_frozen", "the encoder reports what it reported last, and calls it valid"
        ),
        FaultKind(
            "position_paused",
            "the encoder reports for 50 ms what it reported last",
            loop_stays_whole=True,
        ),
        FaultKind(
            "position_jumped", "the encoder is 0.02 rad off from then on", loop_stays_whole=True
        ),
        FaultKind(
            "position_doubled", "the encoder counts twice", loop_stays_whole=True, loop_gain=2.0
        ),
        FaultKind(
            "torque_weak", "the motor gives 30 % of the torque limit at most", loop_stays_whole=True
        ),
        FaultKind("torque_reversed", "the motor's torque has the wrong sign"),
        FaultKind("torque_lost", "the motor gives no torque"),
        FaultKind("torque_stuck", "the motor's torque stays what it was"),
        FaultKind("axis_blocked", "the motor does not turn"),
        FaultKind("pulse_lost", "the test pulse is not added to the torque", loop_stays_whole=True),
        FaultKind(
            "load_frozen", "the sensor at the load reports what it reported last", at_the_load=True
        ),
        FaultKind("load_reversed", "the sensor at the load counts the wrong way", at_the_load=True),
        FaultKind("permit_released", "the permit is released", "run_permit"),
        FaultKind("drive_not_ready", "the drive reports a fault of its own", "drive_ready"),
        FaultKind(
            "feedback_invalid",
            "encoder or current measurement is reported invalid",
            "feedback_valid",
        ),
        FaultKind(
            "window_left", "the axis is reported outside its travel window", "inside_travel_window"
        ),
    )
}
"""By name."""


@dataclass(frozen=True, slots=True)
class RigFault:
    """From sequencer tick ``start`` on something is broken."""

    kind: str = NO_FAULT
    """One of :data:`FAULT_KINDS`, or none."""
    start: int = 0

    @property
    def input(self) -> str | None:
        """Input by which the fault is said."""
        return FAULT_KINDS[self.kind].input if self.kind != NO_FAULT else None


SOUND = RigFault()


def fault_data(fault: RigFault) -> dict[str, int]:
    """Return a fault as ``rig_fault``; one of inputs breaks nothing there."""
    kinds = (NO_FAULT, *FAULT_KINDS)
    kind = fault.kind if fault.input is None else NO_FAULT
    return {"kind": kinds.index(kind), "from": fault.start}
