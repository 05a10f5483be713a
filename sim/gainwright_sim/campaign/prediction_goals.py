"""Numbers wanted of a trial that predicts the limit; none where no axis has a prediction."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gainwright_sim.campaign.goal import Goal
from gainwright_sim.campaign.run import AxisResult
from gainwright_sim.theory.margins import Margins

ERRORS = ((0.03, 0.95), (0.06, 0.99))
"""Predicted limit within this of the exact one, for this part of the axes that agreed."""
HIGHEST_SHARE, HIGHEST_PART, HIGHEST_EVER = 0.75, 0.99, 0.95
OSCILLATION, OSCILLATION_PART = 0.08, 0.95
AGREED = {"own": 0.95, "resonance": 0.95, "timing": 0.95, "friction": 0.95, "motion": 0.8,
          "mixed": 0.8}  # fmt: skip
WANTED = Margins(6.0, 35.0, 2.2)
"""By the shipped trial."""
MISSED = Margins(0.5, 4.0, 0.2)
"""So much of it may be missing, for MARGIN_PART of the axes that agreed."""
MARGIN_PART = 0.95


def prediction_goals(results: Sequence[AxisResult]) -> list[Goal]:
    """Return the goals of one family."""
    agreed = [result for result in results if result.agreed]
    if not agreed:
        return []
    return [*_limit_goals(agreed), *_gain_goals(agreed), *_margin_goals(agreed),
            *_part_goals(results)]  # fmt: skip


def _limit_goals(agreed: Sequence[AxisResult]) -> list[Goal]:
    errors = np.array([abs(r.predicted_share - 1.0) for r in agreed if r.predicted_share])
    goals = []
    for error, part in ERRORS:
        reached = float(np.mean(errors <= error)) if len(errors) else 1.0
        goals.append(
            Goal(
                "predicted limit / exact limit", f"within {error:.0%} for {part:.0%}",
                f"{reached:.1%}", reached >= part,
            )
        )  # fmt: skip
    return goals


def _gain_goals(agreed: Sequence[AxisResult]) -> list[Goal]:
    shares = np.array(
        [r.highest_gain / r.exact_limit for r in agreed if r.highest_gain and r.exact_limit]
    )
    below = float(np.mean(shares <= HIGHEST_SHARE)) if len(shares) else 1.0
    most = float(shares.max(initial=0.0))
    oscillations = np.array([r.oscillation_of_limit or 0.0 for r in agreed])
    calm = float(np.mean(oscillations <= OSCILLATION))
    return [
        Goal(
            "largest gain applied / exact limit, predictions agreed",
            f"at most {HIGHEST_SHARE} for {HIGHEST_PART:.0%}", f"{below:.1%}",
            below >= HIGHEST_PART,
        ),
        Goal("its extreme", f"never above {HIGHEST_EVER}", f"{most:.3f}", most <= HIGHEST_EVER),
        Goal(
            "largest torque oscillation, predictions agreed",
            f"at most {OSCILLATION} of the torque limit for {OSCILLATION_PART:.0%}",
            f"{calm:.1%}", calm >= OSCILLATION_PART,
        ),
    ]  # fmt: skip


def _margin_goals(agreed: Sequence[AxisResult]) -> list[Goal]:
    known = [r.exact_margins for r in agreed if r.exact_margins is not None]
    kept = float(np.mean([_kept(margins) for margins in known])) if known else 1.0
    used = float(np.mean([_used(margins) for margins in known])) if known else 1.0
    return [
        Goal(
            "exact margins of the result", f"as wanted for {MARGIN_PART:.0%}", f"{kept:.1%}",
            kept >= MARGIN_PART,
        ),
        Goal(
            "at least one of them no larger than wanted", f"for {MARGIN_PART:.0%}", f"{used:.1%}",
            used >= MARGIN_PART,
        ),
    ]  # fmt: skip


def _kept(margins: Margins) -> bool:
    return (
        margins.gain_db >= WANTED.gain_db - MISSED.gain_db
        and margins.phase_deg >= WANTED.phase_deg - MISSED.phase_deg
        and margins.peak_sensitivity <= WANTED.peak_sensitivity + MISSED.peak_sensitivity
    )


def _used(margins: Margins) -> bool:
    return (
        margins.gain_db <= WANTED.gain_db + MISSED.gain_db
        or margins.phase_deg <= WANTED.phase_deg + MISSED.phase_deg
        or margins.peak_sensitivity >= WANTED.peak_sensitivity - MISSED.peak_sensitivity
    )


def _part_goals(results: Sequence[AxisResult]) -> list[Goal]:
    wanted = AGREED.get(results[0].family)
    if wanted is None:
        return []
    reached = float(np.mean([result.agreed for result in results]))
    return [Goal("predictions agreed", f"{wanted:.0%}", f"{reached:.1%}", reached >= wanted)]
