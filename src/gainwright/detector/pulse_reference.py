"""The test pulse of the exported ``gw_pulse.h``, tick by tick on Python integers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from gainwright.fixed.arithmetic import multiply_round

_IDLE = 2**31 - 1
_SHAPE_FRACTION_BITS = 15


@dataclass(slots=True)
class ReferencePulse:
    """State as in ``gw_pulse``; idle until started."""

    shape: Sequence[int]
    """Q0.15, one sample per control tick."""
    next: int = field(default=_IDLE, init=False)
    height: int = field(default=0, init=False)

    def start(self, height: int) -> None:
        """Play from the first sample on; the height is a raw Q4.24 word."""
        self.next, self.height = 0, height

    def sample(self) -> int:
        """Return the torque to add in this control tick as a raw Q4.24 word, 0 when idle."""
        if self.next >= len(self.shape):
            return 0
        torque = multiply_round(self.height, self.shape[self.next], _SHAPE_FRACTION_BITS)
        self.next += 1
        return torque
