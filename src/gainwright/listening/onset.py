"""When a trial would have reported onset, from the detector's levels."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from gainwright.detector.settings import LEVEL_ONE
from gainwright.listening.blocks import Blocks


class OnsetCause(Enum):
    """The two ways in which a trial sees onset."""

    BURST = "burst"
    """One block of the torque at or above the burst threshold."""
    RINGING = "ringing"
    """Speed error not silent in any block for the whole listening time."""


@dataclass(frozen=True, slots=True)
class Onset:
    time_s: float
    """Last sample of the block that gave onset away; the first sample of the recording is at 0."""
    cause: OnsetCause


def find_onset(
    burst: Blocks, ring: Blocks, settled_s: float, ringing_seconds: float
) -> Onset | None:
    """Return the first onset that the levels report once the filter has settled."""
    candidates = [
        Onset(time_s, cause)
        for time_s, cause in (
            (_first_burst_s(burst, settled_s), OnsetCause.BURST),
            (_lasting_ringing_s(ring, settled_s, ringing_seconds), OnsetCause.RINGING),
        )
        if time_s is not None
    ]
    return min(candidates, key=lambda onset: onset.time_s, default=None)


def _first_burst_s(burst: Blocks, settled_s: float) -> float | None:
    loud = np.flatnonzero((burst.values >= LEVEL_ONE) & (burst.starts_s >= settled_s))
    return float(burst.ends_s[loud[0]]) if len(loud) else None


def _lasting_ringing_s(ring: Blocks, settled_s: float, seconds: float) -> float | None:
    rings = (ring.values >= LEVEL_ONE) & (ring.starts_s >= settled_s)
    number = np.arange(len(rings))
    last_silent = np.maximum.accumulate(np.where(rings, -1, number))
    lasted_s = (number - last_silent) * ring.seconds
    # Half a sample of slack, so that rounding in the division by the rate does not cost a block.
    lasting = np.flatnonzero(rings & (lasted_s >= seconds - 0.5 / ring.sample_rate_hz))
    return float(ring.ends_s[lasting[0]]) if len(lasting) else None
