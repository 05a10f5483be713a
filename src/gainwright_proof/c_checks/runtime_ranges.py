"""What the exported headers promise about the structures of detector and test pulse.

Every method that proves something about the C source starts from these ranges and shows that the
functions keep them. Tables of a machine are checked against the same ranges.
"""

from __future__ import annotations

from gainwright.detector.settings import (
    LARGEST_SCALE,
    LARGEST_SHIFT,
    LEVEL_MAX,
    LONGEST_BLOCK_TICKS,
)
from gainwright.fixed.qformat import COEFFICIENT, SIGNAL_LIMIT

_SIGNAL = (-SIGNAL_LIMIT, SIGNAL_LIMIT)
_FRACTION = (0, 2**COEFFICIENT.fraction_bits - 1)
_SQUARE_MAX = 2**48
_INT32_MAX = 2**31 - 1

RUNTIME_RANGES = {
    "gw_biquad_state": {
        "x1": _SIGNAL,
        "x2": _SIGNAL,
        "y1": _SIGNAL,
        "y2": _SIGNAL,
        "fraction": _FRACTION,
    },
    "gw_level_settings": {
        "block_ticks": (1, LONGEST_BLOCK_TICKS),
        "shift": (0, LARGEST_SHIFT),
        "scale": (1, LARGEST_SCALE),
    },
    "gw_band": {
        "energy": (0, LONGEST_BLOCK_TICKS * _SQUARE_MAX),
        "ticks": (0, LONGEST_BLOCK_TICKS - 1),
        "level": (0, LEVEL_MAX),
    },
    "gw_pulse": {"next": (-1, _INT32_MAX)},
    "gw_pulse_shape": {"ticks": (0, _INT32_MAX)},
}
"""Lowest and highest value of a member by structure and member; others may hold anything."""

RUNTIME_LENGTHS = {("gw_pulse_shape", "shape"): "ticks"}
"""For a pointer member: the member with the number of elements that it points at."""
