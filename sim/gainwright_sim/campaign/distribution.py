"""The distribution of a campaign's results, against the numbers of the design."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from gainwright_sim.campaign.random_axes import AxisResult

RATIO_BAND, RATIO_SHARE = (0.94, 1.06), 0.99
RATIO_EXTREMES = (0.80, 1.15)
OSCILLATION, OSCILLATION_SHARE, OSCILLATION_EXTREME = 0.15, 0.99, 0.30
TIME_MEDIAN_S = 60.0
QUANTILES = (0, 1, 5, 25, 50, 75, 95, 99, 100)


@dataclass(frozen=True, slots=True)
class Goal:
    """One number of the design, what was reached, and whether that is enough."""

    what: str
    wanted: str
    reached: str
    met: bool


@dataclass(frozen=True, slots=True)
class Distribution:
    count: int
    ratio: tuple[float, ...]
    """Limit found over exact limit at QUANTILES, axes with both."""
    oscillation_of_limit: tuple[float, ...]
    machine_time_s: tuple[float, ...]
    outcomes: dict[str, int]
    goals: tuple[Goal, ...]
    outside: tuple[AxisResult, ...]
    """Axes outside any of the bands."""

    def as_json(self) -> dict[str, Any]:
        """Return plain data for :func:`json.dumps`."""
        return {
            "count": self.count,
            "quantiles_percent": list(QUANTILES),
            "ratio": list(self.ratio),
            "oscillation_of_limit": list(self.oscillation_of_limit),
            "machine_time_s": list(self.machine_time_s),
            "outcomes": self.outcomes,
            "goals": [vars_of(goal) for goal in self.goals],
            "outside": [vars_of(result) for result in self.outside],
        }


def vars_of(item: Any) -> dict[str, Any]:
    """Return the fields of a slotted dataclass."""
    return {name: getattr(item, name) for name in item.__slots__}


def distribution(results: Sequence[AxisResult]) -> Distribution:
    """Return the distribution; an axis without a limit found or known is outside the band."""
    ratios = np.array([result.ratio for result in results])
    oscillations = np.array([result.oscillation_of_limit for result in results])
    times = np.array([result.machine_time_s for result in results])
    known = ratios[~np.isnan(ratios)]
    return Distribution(
        count=len(results),
        ratio=_quantiles(known),
        oscillation_of_limit=_quantiles(oscillations),
        machine_time_s=_quantiles(times),
        outcomes=dict(sorted(Counter(result.outcome for result in results).items())),
        goals=_goals(ratios, known, oscillations, times),
        outside=tuple(result for result in results if _is_outside(result)),
    )


def _quantiles(values: np.ndarray) -> tuple[float, ...]:
    return tuple(float(q) for q in np.percentile(values, QUANTILES)) if len(values) else ()


def _is_outside(result: AxisResult) -> bool:
    inside = RATIO_BAND[0] <= result.ratio <= RATIO_BAND[1]
    return not inside or result.oscillation_of_limit > OSCILLATION or result.outcome != "finished"


def _goals(
    ratios: np.ndarray, known: np.ndarray, oscillations: np.ndarray, times: np.ndarray
) -> tuple[Goal, ...]:
    low, high = RATIO_BAND
    inside = float(np.mean((ratios >= low) & (ratios <= high)))
    least, most = (float(known.min()), float(known.max())) if len(known) else (math.nan, math.nan)
    calm = float(np.mean(oscillations < OSCILLATION))
    median_s = float(np.median(times))
    return (
        Goal(
            "limit found / exact limit", f"{low} to {high} for {RATIO_SHARE:.0%}",
            f"{inside:.1%}", inside >= RATIO_SHARE,
        ),
        Goal(
            "extremes of that ratio", f"never outside {RATIO_EXTREMES[0]} to {RATIO_EXTREMES[1]}",
            f"{least:.3f} to {most:.3f}", least >= RATIO_EXTREMES[0] and most <= RATIO_EXTREMES[1],
        ),
        Goal(
            "largest torque oscillation, of the torque limit",
            f"below {OSCILLATION} for {OSCILLATION_SHARE:.0%}", f"{calm:.1%}",
            calm >= OSCILLATION_SHARE,
        ),
        Goal(
            "its extreme", f"never above {OSCILLATION_EXTREME}",
            f"{float(oscillations.max()):.3f}", float(oscillations.max()) <= OSCILLATION_EXTREME,
        ),
        Goal(
            "median machine time of a search", f"below {TIME_MEDIAN_S:.0f} s", f"{median_s:.1f} s",
            median_s < TIME_MEDIAN_S,
        ),
    )  # fmt: skip
