"""What keeps a recording from being called quiet: channels that say nothing, an axis at rest."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from gainwright.listening.band import Band
from gainwright.listening.motion import Motion
from gainwright.recording.recording import Recording

FloatArray = npt.NDArray[np.float64]

STUCK_S = 0.25
"""A torque that keeps one value for this long while the axis moves is stuck ..."""
STUCK_SHARE = 0.5
"""... or, where the motion is not known, for this share of the recording."""
CLIPPED_SHARE = 0.2
"""More samples than this at the channel's ends leave too little to hear."""


def missing_evidence(recording: Recording, band: Band, motion: Motion) -> list[str]:
    """Return why quiet cannot be told from this recording; nothing where it can."""
    channels = [(recording.torque_name, recording.torque_per_unit)]
    if recording.speed_error_name != recording.torque_name:
        channels.append((recording.speed_error_name, recording.speed_error_per_unit))
    reasons = [
        f"{name} holds one value throughout: a dead channel"
        for name, v in channels
        if not np.ptp(v)
    ]
    if not reasons:
        reasons = [*_stuck(recording, band, motion), *_clipped(channels)]
    return [*reasons, *_standing(motion)]


def _stuck(recording: Recording, band: Band, motion: Motion) -> list[str]:
    torque, rate_hz = recording.torque_per_unit, band.sample_rate_hz
    if motion.speed is None:
        least = max(2, round(STUCK_SHARE * len(torque)))
        first = _same_value(np.diff(torque) == 0.0, least)
    else:
        least = max(2, round(STUCK_S * rate_hz))
        moving = motion.speed[1:] > motion.least_speed
        first = _same_value((np.diff(torque) == 0.0) & moving, least)
    if first is None:
        return []
    return [f"{recording.torque_name} holds one value for long from {first / rate_hz:.3g} s on"]


def _same_value(same: npt.NDArray[np.bool_], least: int) -> int | None:
    """Return where the first run of at least this many begins."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], same, [False]]).astype(np.int8)))
    starts, ends = edges[::2], edges[1::2]
    long = np.flatnonzero(ends - starts >= least)
    return int(starts[long[0]]) if len(long) else None


def _clipped(channels: list[tuple[str, FloatArray]]) -> list[str]:
    reasons = []
    for name, values in channels:
        share = max(_flat_share(values, values.max()), _flat_share(values, values.min()))
        if share > CLIPPED_SHARE:
            reasons.append(f"{name} is clipped in {share:.0%} of its samples")
    return reasons


def _flat_share(values: FloatArray, end: float) -> float:
    """Return the share of samples in runs at an end of the range; rest at zero is no clipping."""
    at_end = values == end
    if end == 0.0:
        return 0.0
    flat = at_end[2:] & at_end[1:-1] & at_end[:-2]
    return float(flat.mean())


def _standing(motion: Motion) -> list[str]:
    if motion.moves:
        return []
    if motion.speed is None:
        return [
            "no channel shows that the axis moved: name its speed with --speed or its position "
            "with --position"
        ]
    return ["the axis never moves"]
