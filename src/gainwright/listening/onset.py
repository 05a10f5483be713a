"""When a trial would have reported onset with given thresholds, from the detector's levels."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from gainwright.detector.settings import LEVEL_ONE
from gainwright.listening.blocks import Blocks
from gainwright.listening.grown import bursts


class OnsetCause(Enum):
    """The ways in which onset shows."""

    BURST = "burst"
    """Blocks of the torque in succession at or above the burst threshold; with thresholds from a
    quiet part, of a line that grew before."""
    RINGING = "ringing"
    """Speed error not silent in any block for the whole listening time; with thresholds from a
    quiet part, a line that stays whatever the speed."""


@dataclass(frozen=True, slots=True)
class Onset:
    time_s: float
    """Last sample of the block that gave onset away; the first sample of the recording is at 0."""
    cause: OnsetCause


def first_burst(burst: Blocks, settled_s: float) -> Onset | None:
    """Return the first burst that the levels report once the filter has settled."""
    found = np.flatnonzero(bursts(burst, LEVEL_ONE, settled_s))
    return Onset(float(burst.ends_s[found[0]]), OnsetCause.BURST) if len(found) else None


def lasting_ringing(ring: Blocks, settled_s: float, seconds: float) -> Onset | None:
    """Return the end of the first time without a silent block that is as long as this."""
    rings = (ring.values >= LEVEL_ONE) & (ring.starts_s >= settled_s)
    number = np.arange(len(rings))
    last_silent = np.maximum.accumulate(np.where(rings, -1, number))
    lasted_s = (number - last_silent) * ring.seconds
    # Half a sample of slack, so that rounding in the division by the rate does not cost a block.
    lasting = np.flatnonzero(rings & (lasted_s >= seconds - 0.5 / ring.sample_rate_hz))
    return Onset(float(ring.ends_s[lasting[0]]), OnsetCause.RINGING) if len(lasting) else None


def earliest(*onsets: Onset | None) -> Onset | None:
    """Return the first of those that there are."""
    return min((o for o in onsets if o is not None), key=lambda o: o.time_s, default=None)
