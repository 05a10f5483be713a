"""What a drive watches beside its own monitors: ``gw_watch.h`` in Python, the same bit for bit."""

from __future__ import annotations

from dataclasses import dataclass

TICKS_MAX = 65_535
STRAIN_LEVEL = 128
"""Burst level of strained torque: half the energy of a burst."""


@dataclass(slots=True)
class ReferenceWatch:
    """State as in ``gw_watch``; times in sequencer ticks."""

    position: int
    """At the last tick, encoder counts; may go round."""
    still_ticks: int = 0
    """With the reference moving, since the position changed."""
    strained_ticks: int = 0
    """Less those in which torque was not strained since."""

    def tick(
        self, position: int, torque_on: bool, must_move: bool, saturated: bool, burst_level: int
    ) -> None:
        """Take what the drive knows at a sequencer tick."""
        if position != self.position or not torque_on:
            self.still_ticks = 0
        elif must_move:
            self.still_ticks = min(self.still_ticks + 1, TICKS_MAX)
        self.position = position
        if torque_on and (saturated or burst_level >= STRAIN_LEVEL):
            self.strained_ticks = min(self.strained_ticks + 1, TICKS_MAX)
        else:
            self.strained_ticks = max(self.strained_ticks - 1, 0)
