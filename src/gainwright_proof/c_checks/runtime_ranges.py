"""What the exported headers promise about the structures of detector and test pulse.

Every method that proves something about the C source starts from these ranges and shows that the
functions keep them.
"""

from __future__ import annotations

from gainwright.detector.settings import (
    HIGH_PASS_LIMIT,
    LARGEST_SCALE,
    LARGEST_SHIFT,
    LEVEL_MAX,
    LONGEST_BLOCK_TICKS,
)
from gainwright.fixed.qformat import COEFFICIENT, SIGNAL_LIMIT, SIGNAL_LOWEST

_SIGNAL = (SIGNAL_LOWEST, SIGNAL_LIMIT)
_B0_MAX = HIGH_PASS_LIMIT - 1
_FRACTION = (0, 2**COEFFICIENT.fraction_bits - 1)
_SQUARE_MAX = 2**48
_UNFINISHED_MAX = 2**62 - 1
"""Energy of a block that goes on; the longest has one square less than 2^14."""
_INT32_MAX = 2**31 - 1

RUNTIME_RANGES = {
    "gw_highpass_coefficients": {"b0": (0, _B0_MAX), "a2": (-_B0_MAX, _B0_MAX)},
    "gw_highpass_past": {"last": _SIGNAL, "before": _SIGNAL},
    "gw_level_settings": {
        "block_ticks": (1, LONGEST_BLOCK_TICKS),
        "shift": (0, LARGEST_SHIFT),
        "scale": (1, LARGEST_SCALE),
    },
    "gw_band": {
        "fraction": _FRACTION,
        "energy": (0, _UNFINISHED_MAX + _SQUARE_MAX),
        "ticks": (0, LONGEST_BLOCK_TICKS - 1),
        "level": (0, LEVEL_MAX),
    },
    "gw_pulse": {"next": (-1, _INT32_MAX)},
}
"""Lowest and highest value of a member by structure and member; others may hold anything."""
