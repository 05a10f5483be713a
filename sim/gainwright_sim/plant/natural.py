"""Natural frequencies of an axis as people meet them: motor held fast, and motor free.

Those of the axis itself are on a base that stands still.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from gainwright_sim.machine.model import Chain
from gainwright_sim.plant.chain import anti_resonances_hz, resonances_hz

STIFF_ABOVE_HZ = 150.0
"""A machine whose first natural frequency is above this counts as stiff (common practice, no
source)."""


@dataclass(frozen=True, slots=True)
class NaturalFrequencies:
    """The lowest of each kind, undamped, in Hz; ``None`` for a rigid axis."""

    locked_motor_hz: float | None
    """Load on its spring with the motor held fast: what somebody who pushes the load feels with
    the drive on, and the anti-resonance from motor torque to motor speed."""
    free_hz: float | None
    """Load against a motor that turns freely: the resonance, always the higher of the two."""

    base_hz: float | None = None
    """Of the base on its mounts with everything on it held fast; None without one."""

    @property
    def counts_as_stiff(self) -> bool:
        """Whether even the lower frequency is above STIFF_ABOVE_HZ; a rigid axis is stiff."""
        return self.locked_motor_hz is None or self.locked_motor_hz > STIFF_ABOVE_HZ

    def in_words(self) -> str:
        """Return both frequencies and whether the machine counts as stiff."""
        if self.locked_motor_hz is None:
            return "rigid in its description: no natural frequency; counts as stiff"
        verdict = "counts as stiff" if self.counts_as_stiff else "does not count as stiff"
        base = "" if self.base_hz is None else f" its base swings at {self.base_hz:.3g} Hz;"
        return (
            f"{self.locked_motor_hz:.3g} Hz with the motor locked, {self.free_hz:.3g} Hz free;"
            f"{base} {verdict} (above {STIFF_ABOVE_HZ:.0f} Hz, common practice)"
        )


def natural_frequencies(chain: Chain) -> NaturalFrequencies:
    """Return the first natural frequencies of a chain."""
    if chain.mass_count == 1:
        return NaturalFrequencies(None, None)
    return NaturalFrequencies(
        anti_resonances_hz(chain)[0], resonances_hz(chain)[0], _base_hz(chain)
    )


def _base_hz(chain: Chain) -> float | None:
    if chain.base is None:
        return None
    moved = chain.base.inertia_kgm2 + chain.total_inertia_kgm2
    return math.sqrt(chain.base.stiffness_nm_per_rad / moved) / (2.0 * math.pi)
