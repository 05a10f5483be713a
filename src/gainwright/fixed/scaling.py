"""Between engineering units, per unit, and raw Q4.24 words."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gainwright.fixed.arithmetic import clamp
from gainwright.fixed.qformat import SIGNAL, SIGNAL_LIMIT


@dataclass(frozen=True, slots=True)
class PerUnitScale:
    """The quantity that counts as one per unit, such as the rated torque in Nm.

    Raises:
        ValueError: the base is not a positive finite number.
    """

    base: float
    unit: str

    def __post_init__(self) -> None:
        if not (math.isfinite(self.base) and self.base > 0.0):
            raise ValueError(f"one per unit is {self.base} {self.unit}, expected above 0")

    def raw(self, value: float) -> int:
        """Return the saturated Q4.24 word for a value in :attr:`unit`."""
        return signal_raw(value / self.base)

    def value(self, raw: int) -> float:
        """Return the value in :attr:`unit` of a Q4.24 word."""
        return SIGNAL.to_float(raw) * self.base

    @property
    def largest(self) -> float:
        """The value in :attr:`unit` at which the signal saturates, 16 per unit."""
        return self.value(SIGNAL_LIMIT)

    @property
    def error_bound(self) -> float:
        """Largest rounding error in :attr:`unit` where nothing saturates."""
        return SIGNAL.error_bound() * self.base


def signal_raw(per_unit: float) -> int:
    """Return the saturated Q4.24 word for a per-unit value, rounded half up."""
    return clamp(SIGNAL.quantise(per_unit), -SIGNAL_LIMIT, SIGNAL_LIMIT)


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
