"""What a campaign found in one family of axes, against the numbers wanted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from scipy.stats import beta

from gainwright_sim.campaign.goal import Goal
from gainwright_sim.campaign.prediction_goals import prediction_goals
from gainwright_sim.campaign.run import AxisResult
from gainwright_sim.rehearsal.outcome import HIGHEST_RESULT_SHARE, OUTCOMES

LIMIT_BAND, LIMIT_SHARE = (0.94, 1.06), 0.99
OSCILLATION, OSCILLATION_SHARE, OSCILLATION_EXTREME = 0.15, 0.99, 0.30
TIME_MEDIAN_S = 60.0
NO_RESULT_SHARE, MISTAKEN_NOISE_SHARE = 0.05, 0.01
QUANTILES = (0, 1, 5, 25, 50, 75, 95, 99, 100)


@dataclass(frozen=True, slots=True)
class FamilyReport:
    """One family; quantiles are those of :data:`QUANTILES`, empty where there is nothing."""

    family: str
    count: int
    wrong: tuple[AxisResult, ...]
    """Axes on which the trial verified what theory knows to be wrong."""
    outcomes: dict[str, dict[str, int]]
    """Outcome, then reason, then how often; the most frequent first."""
    no_result_share: float
    limit_share: tuple[float, ...]
    """Limit found by onset / exact limit."""
    result_share: tuple[float, ...]
    """Result / exact limit."""
    oscillation_of_limit: tuple[float, ...]
    machine_time_s: tuple[float, ...]
    predicted_share: tuple[float, ...]
    """Predicted / exact limit, where predictions agreed."""
    agreed_share: float
    """Part of the axes on which they did."""
    goals: tuple[Goal, ...]
    outside: tuple[AxisResult, ...]
    """The other axes that miss a number, the worst first."""

    def as_json(self) -> dict[str, Any]:
        """Return plain data for :func:`json.dumps`."""
        return {"quantiles_percent": list(QUANTILES), **asdict(self)}


def family_report(results: Sequence[AxisResult]) -> FamilyReport:
    """Return the report of one family with at least one axis."""
    limits = _known(result.limit_share for result in results)
    shares = _known(result.result_share for result in results)
    oscillations = _known(result.oscillation_of_limit for result in results)
    times = _known(result.machine_time_s for result in results)
    without = float(np.mean([not OUTCOMES[result.outcome].has_result for result in results]))
    wrong = sorted((r for r in results if r.wrong), key=lambda r: -(r.result_share or 0.0))
    outside = [result for result in results if not result.wrong and _badness(result) > 0.0]
    return FamilyReport(
        family=results[0].family,
        count=len(results),
        wrong=tuple(wrong),
        outcomes=_outcomes(results),
        no_result_share=without,
        limit_share=_quantiles(limits),
        result_share=_quantiles(shares),
        oscillation_of_limit=_quantiles(oscillations),
        machine_time_s=_quantiles(times),
        predicted_share=_quantiles(_known(result.predicted_share for result in results)),
        agreed_share=float(np.mean([result.agreed for result in results])),
        goals=(
            *_result_goals(wrong, shares, without),
            *_limit_goals(results, limits),
            *_calm_goals(oscillations, times),
            *prediction_goals(results),
            *_later_goals(results),
        ),
        outside=tuple(sorted(outside, key=_badness, reverse=True)),
    )


def _known(values: Any) -> np.ndarray:
    return np.array([value for value in values if value is not None], dtype=float)


def _quantiles(values: np.ndarray) -> tuple[float, ...]:
    return tuple(float(q) for q in np.percentile(values, QUANTILES)) if len(values) else ()


def _outcomes(results: Sequence[AxisResult]) -> dict[str, dict[str, int]]:
    """Count outcomes and reasons; a result with a known limit needs no reason of its own."""
    counted: dict[str, Counter[str]] = {}
    for result in results:
        counted.setdefault(result.outcome, Counter())[result.reason] += 1
    order = sorted(counted, key=lambda key: (-counted[key].total(), key))
    return {
        key: dict(sorted(counted[key].items(), key=lambda item: (-item[1], item[0])))
        for key in order
    }


def rate_bound(events: int, count: int, confidence: float = 0.95) -> float:
    """Return the exact one-sided upper bound of an event's rate (Clopper and Pearson 1934)."""
    return 1.0 if events == count else float(beta.ppf(confidence, events + 1, count - events))


def _badness(result: AxisResult) -> float:
    """Return how far an axis misses the numbers; 0 if it meets them."""
    bad = 0.0
    if not OUTCOMES[result.outcome].has_result:
        bad += 1.0
    if result.limit_share is not None:
        bad += max(0.0, LIMIT_BAND[0] - result.limit_share, result.limit_share - LIMIT_BAND[1])
    if _mistaken_noise(result):
        bad += 1.0
    return bad + max(0.0, (result.oscillation_of_limit or 0.0) - OSCILLATION)


def _mistaken_noise(result: AxisResult) -> bool:
    """Whether noise was blamed although the exact limit had been reached."""
    return (
        result.outcome == "limited_by_noise"
        and result.highest_gain is not None
        and result.exact_limit is not None
        and result.highest_gain >= LIMIT_BAND[0] * result.exact_limit
    )


def _result_goals(
    wrong: Sequence[AxisResult], shares: np.ndarray, without: float
) -> tuple[Goal, ...]:
    unstable = sum(result.outcome == "wrong_not_stable" for result in wrong)
    largest = float(shares.max(initial=0.0))
    return (
        Goal("verified with a gain that is not stable", "none", str(unstable), unstable == 0),
        Goal(
            "largest verified result / exact limit", f"{HIGHEST_RESULT_SHARE:.2f}",
            f"{largest:.3f}", largest <= HIGHEST_RESULT_SHARE,
        ),
        Goal(
            "without a result", f"below {NO_RESULT_SHARE:.0%}", f"{without:.1%}",
            without < NO_RESULT_SHARE,
        ),
    )  # fmt: skip


def _limit_goals(results: Sequence[AxisResult], limits: np.ndarray) -> tuple[Goal, ...]:
    low, high = LIMIT_BAND
    inside = float(np.mean((limits >= low) & (limits <= high))) if len(limits) else 1.0
    noise = float(np.mean([_mistaken_noise(result) for result in results]))
    return (
        Goal(
            "limit found by onset / exact limit", f"{low} to {high} for {LIMIT_SHARE:.0%}",
            f"{inside:.1%}", inside >= LIMIT_SHARE,
        ),
        Goal(
            "noise blamed for the exact limit", f"below {MISTAKEN_NOISE_SHARE:.0%}",
            f"{noise:.1%}", noise < MISTAKEN_NOISE_SHARE,
        ),
    )  # fmt: skip


INTEGRAL_BANDS = (((0.94, 1.06), 0.95), ((0.90, 1.10), 0.99))
LEAST_GAIN_MARGIN_DB, LEAST_PHASE_MARGIN_DEG, LARGEST_PEAK, MARGIN_SHARE = 6.0, 35.0, 2.1, 0.95


def _later_goals(results: Sequence[AxisResult]) -> tuple[Goal, ...]:
    """Return what is wanted of a trial that tunes all three gains; nothing of others."""
    complete = [result for result in results if result.position_result_share is not None]
    if not complete:
        return ()
    limits = _known(result.integral_limit_share for result in results)
    goals = []
    for (low, high), share in INTEGRAL_BANDS:
        inside = float(np.mean((limits >= low) & (limits <= high))) if len(limits) else 1.0
        goals.append(
            Goal(
                "integral rate: limit found by onset / exact limit",
                f"{low:.2f} to {high:.2f} for {share:.0%}", f"{inside:.1%}", inside >= share,
            )
        )  # fmt: skip
    kept = float(np.mean([_keeps_margins(result) for result in complete]))
    goals.append(
        Goal(
            f"gain margin {LEAST_GAIN_MARGIN_DB:.0f} dB, phase margin "
            f"{LEAST_PHASE_MARGIN_DEG:.0f} degrees, Ms at most {LARGEST_PEAK}",
            f"of {MARGIN_SHARE:.0%}", f"{kept:.1%}", kept >= MARGIN_SHARE,
        )
    )  # fmt: skip
    return tuple(goals)


def _keeps_margins(result: AxisResult) -> bool:
    return (
        (result.gain_margin_db or 0.0) >= LEAST_GAIN_MARGIN_DB
        and (result.phase_margin_deg or 0.0) >= LEAST_PHASE_MARGIN_DEG
        and (result.peak_sensitivity or np.inf) <= LARGEST_PEAK
    )


def _calm_goals(oscillations: np.ndarray, times: np.ndarray) -> tuple[Goal, ...]:
    calm = float(np.mean(oscillations < OSCILLATION)) if len(oscillations) else 1.0
    most = float(oscillations.max(initial=0.0))
    median_s = float(np.median(times)) if len(times) else 0.0
    return (
        Goal(
            "largest torque oscillation, of the torque limit",
            f"below {OSCILLATION} for {OSCILLATION_SHARE:.0%}", f"{calm:.1%}",
            calm >= OSCILLATION_SHARE,
        ),
        Goal(
            "its extreme", f"never above {OSCILLATION_EXTREME:.2f}", f"{most:.3f}",
            most <= OSCILLATION_EXTREME,
        ),
        Goal(
            "median machine time of a search", f"below {TIME_MEDIAN_S:.0f} s", f"{median_s:.1f} s",
            median_s < TIME_MEDIAN_S,
        ),
    )  # fmt: skip
