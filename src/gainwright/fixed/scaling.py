"""Between per unit and raw Q4.24 words."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from gainwright.fixed.qformat import SIGNAL, SIGNAL_LIMIT


def signals_raw(per_unit: npt.ArrayLike) -> npt.NDArray[np.int32]:
    """Return the saturated Q4.24 words for an array of per-unit values, of the same shape.

    Raises:
        ValueError: a value is NaN.
    """
    values = np.asarray(per_unit, dtype=np.float64)
    if np.isnan(values).any():
        raise ValueError(f"NaN has no value in {SIGNAL}")
    largest = SIGNAL.to_float(SIGNAL_LIMIT)
    limited = np.ldexp(np.clip(values, -largest, largest), SIGNAL.fraction_bits)
    below = np.floor(limited)
    # limited + 0.5 could round up by itself; the difference is exact wherever it decides.
    return (below + (limited - below >= 0.5)).astype(np.int32)


def signals_per_unit(raw: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return the per-unit values of an array of Q4.24 words, of the same shape."""
    return np.ldexp(np.asarray(raw, dtype=np.float64), -SIGNAL.fraction_bits)
