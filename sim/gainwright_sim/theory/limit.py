"""The smallest gain at which the linear closed loop stops decaying."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from gainwright_sim.theory.closed_loop import ClosedLoop

SCAN_STEP = 1.02
"""Ratio of neighbouring gains of the scan: half the usual rung of a gain ladder."""

ROUNDING = 1e-9
"""Radii are known to about this: an eigenvalue this near to 1 counts as on the circle."""


@dataclass(frozen=True, slots=True)
class StabilityLimit:
    """The limit gain and the frequency at which the loop then oscillates."""

    gain: float
    """In the unit of the loop's gain; ``inf`` if the whole range that was searched is stable."""
    frequency_hz: float
    """``nan`` where there is no limit; 0 for a growth without oscillation."""


LOWEST_SHARE_OF_START = 1e-4
"""How far below its start gain a machine's limit is looked for."""


class UnstableAtStartError(ValueError):
    """The loop is unstable already at the lowest gain of the range, and far below a start gain."""

    def __init__(self, gain: float, spectral_radius: float) -> None:
        super().__init__(
            f"unstable already at a gain of {gain:g} (spectral radius {spectral_radius:.9f})"
        )
        self.gain = gain
        self.spectral_radius = spectral_radius


def stability_limit(loop: ClosedLoop, low_gain: float, high_gain: float) -> StabilityLimit:
    """Return the first gain in (low, high] at which the spectral radius crosses 1.

    The range is scanned in steps of :data:`SCAN_STEP` and the crossing refined to 1e-12 relative.
    Stability that is lost and regained within one step is not seen; neither could a trial that
    climbs in rungs see it. Raises :class:`UnstableAtStartError`, and ValueError for a range that is
    empty or not positive.
    """
    if not 0.0 < low_gain < high_gain < math.inf:
        raise ValueError("expected 0 < low gain < high gain")
    count = math.ceil(math.log(high_gain / low_gain) / math.log(SCAN_STEP))
    gains = np.geomspace(low_gain, high_gain, count + 1)
    before = 0.0
    # In pieces, since most limits lie well below the end of the range.
    for start in range(0, len(gains), 64):
        piece = gains[start : start + 64]
        radii = loop.spectral_radii(piece)
        above = np.flatnonzero(radii > 1.0 + ROUNDING)
        if above.size:
            first = int(above[0])
            if start + first == 0:
                raise UnstableAtStartError(float(piece[0]), float(radii[0]))
            low = float(piece[first - 1]) if first else before
            return _refine(loop, low, float(piece[first]))
        before = float(piece[-1])
    return StabilityLimit(math.inf, math.nan)


def _refine(loop: ClosedLoop, low: float, high: float) -> StabilityLimit:
    def excess(gain: float) -> float:
        return abs(loop.dominant_eigenvalue(gain)) - 1.0

    # A radius within rounding of 1 at the lower end: the crossing is there.
    gain = low if excess(low) >= 0.0 else float(brentq(excess, low, high, xtol=1e-300, rtol=1e-13))
    eigenvalue = loop.dominant_eigenvalue(gain)
    angle = math.atan2(eigenvalue.imag, eigenvalue.real)
    return StabilityLimit(gain, angle / (2.0 * math.pi * loop.tick_s))


def limit_near(loop: ClosedLoop, start: float, highest: float) -> StabilityLimit:
    """Return the first limit above ``start``, or the nearest below it if that is unstable.

    Raises :class:`UnstableAtStartError` if nothing is stable down to
    :data:`LOWEST_SHARE_OF_START` of ``start``.
    """
    try:
        return stability_limit(loop, start, max(highest, 2.0 * start))
    except UnstableAtStartError as error:
        return _limit_below(loop, start, error)


def _limit_below(loop: ClosedLoop, start: float, error: UnstableAtStartError) -> StabilityLimit:
    count = math.ceil(-math.log(LOWEST_SHARE_OF_START) / math.log(SCAN_STEP))
    gains = start * np.geomspace(LOWEST_SHARE_OF_START, 1.0, count + 1)
    stable = np.flatnonzero(loop.spectral_radii(gains) <= 1.0 + ROUNDING)
    if not stable.size:
        raise error
    last = int(stable[-1])
    return _refine(loop, float(gains[last]), float(gains[last + 1]))
