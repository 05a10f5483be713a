"""Exact theory of each kind of stage: what a rehearsal or a campaign compares with.

"Held" are the other settings as they are during the stage: results of
earlier stages, lowest rungs of later ones; what is not named has the machine's start value.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from gainwright_sim.machine.model import Chain, Machine, start_settings
from gainwright_sim.theory.closed_loop import SETTING_LOOPS, machine_loop
from gainwright_sim.theory.limit import (
    LOWEST_SHARE_OF_START,
    ROUNDING,
    StabilityLimit,
    limit_near,
)

Held = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class StageTheory:
    """All values in the unit of the kind."""

    setting: str
    highest: Callable[[Machine], float]
    """No axis is stable beyond this value."""

    def limit(self, machine: Machine, held: Held | None = None) -> StabilityLimit:
        """Return the exact limit.

        The first value above the start at which stability is lost; if the start is itself unstable,
        the nearest below it. Raises :class:`UnstableAtStartError` if nothing is stable.
        """
        return self._limit(machine, held, None)

    def rigid_body_limit(self, machine: Machine, held: Held | None = None) -> StabilityLimit:
        """Return what one would calculate from the total inertia alone, springs taken as rigid."""
        return self._limit(machine, held, Chain((machine.chain.total_inertia_kgm2,), (), ()))

    def is_stable(self, machine: Machine, value: float, held: Held | None = None) -> bool:
        """Return whether the linear loop decays at a value."""
        radius = machine_loop(machine, self.setting, held).spectral_radii([value])[0]
        return bool(radius <= 1.0 + ROUNDING)

    def _limit(self, machine: Machine, held: Held | None, chain: Chain | None) -> StabilityLimit:
        highest = self.highest(machine)
        start = (held or {}).get(self.setting) or start_settings(machine)[self.setting]
        # A setting that starts at zero is looked for from far below.
        start = start if start > 0.0 else LOWEST_SHARE_OF_START * highest
        return limit_near(machine_loop(machine, self.setting, held, chain), start, highest)


STAGE_THEORY: Mapping[str, StageTheory] = {
    setting: StageTheory(setting, loop.highest) for setting, loop in SETTING_LOOPS.items()
}
SPEED_GAIN = STAGE_THEORY["speed_gain"]
