"""What a rehearsal's measured loop response said: predictions on the way, margins of the result."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from gainwright_codegen.axis_c.tables import StageTables
from gainwright_sim.rehearsal.rehearse import Rehearsal
from gainwright_sim.rig.response import MeasuredResponse

PREDICTION_VARIABLE = "prediction_found"
"""Variable by which a trial says that its limit was predicted."""
NEIGHBOUR = 12.0
"""Lines beside a place of Y that are so many times as far out say nothing of it: noise decides."""
STEPS = np.linspace(0.0, 1.0, 21)
"""Between two lines Y is straight; margins are looked for at so many places there."""


@dataclass(frozen=True, slots=True)
class Prediction:
    """Measured, by the exported C but for the last three; gains in the stage's unit."""

    predicted_limit: float
    """Mean of the last predictions that agree."""
    prediction_spread: float
    """Noise of the last one at the limit, as a share of it."""
    predictions: int
    """In a row that agree."""
    predicted_share: float | None
    """Predicted / exact limit."""
    agreed: bool
    """Whether the trial ended its search by it."""
    gain_margin_db: float | None
    """From the result up to the predicted limit; None without a result, like those below."""
    phase_margin_deg: float | None
    """Of the result, from the last response measured; 180 if it is 1 nowhere in the band."""
    peak_sensitivity: float | None
    """Ms of the result, largest in the band of the test signal."""


@dataclass(frozen=True, slots=True)
class PredictionMade:
    """One evaluation on the way."""

    tick: int
    rung: int
    limit: float
    """Mean of the predictions that agree, in the stage's unit."""
    spread: float


def predictions_made(rehearsal: Rehearsal, table: StageTables) -> list[PredictionMade]:
    """Return the mean prediction after each evaluation that gave one."""
    if table.response is None:
        return []
    done = np.flatnonzero(np.diff(rehearsal.input("evaluated"), prepend=1) > 0)
    limits, spreads = (
        rehearsal.log.signal(name) for name in ("predicted_limit", "prediction_spread")
    )
    rungs = rehearsal.output(table.stage.rung)
    return [
        PredictionMade(
            tick=int(tick),
            rung=int(rungs[tick - 1]),
            limit=gain_at(table, float(limits[tick])),
            spread=float(spreads[tick]),
        )
        for tick in done
        if rehearsal.input("predictions")[tick] > 0
    ]


def gain_at(table: StageTables, position: float) -> float:
    """Return the gain at a place on the ladder, rung or between."""
    return table.gains[0] * table.stage.ratio**position


def find_prediction(
    rehearsal: Rehearsal, table: StageTables, result: float | None, exact: float | None
) -> Prediction | None:
    """Return what the last predictions say; None if there is none."""
    made = predictions_made(rehearsal, table)
    if not made:
        return None
    last = made[-1]
    response = rehearsal.response
    known = result is not None and response is not None and response.rung >= 0
    factor = result / table.gains[response.rung] if known else 1.0  # type: ignore[operator, union-attr]
    return Prediction(
        predicted_limit=last.limit,
        prediction_spread=last.spread,
        predictions=int(rehearsal.input("predictions")[last.tick]),
        predicted_share=None if exact is None else last.limit / exact,
        agreed=by_prediction(rehearsal),
        gain_margin_db=None if result is None else 20.0 * math.log10(last.limit / result),
        phase_margin_deg=phase_margin_deg(response, factor) if known else None,  # type: ignore[arg-type]
        peak_sensitivity=peak_sensitivity(response, factor) if known else None,  # type: ignore[arg-type]
    )


def by_prediction(rehearsal: Rehearsal) -> bool:
    """Whether the trial says that its limit was predicted."""
    if PREDICTION_VARIABLE not in rehearsal.trial.index.variables:
        return False
    return bool(len(rehearsal.log) and rehearsal.variable(PREDICTION_VARIABLE)[-1])


def _between_lines(response: MeasuredResponse) -> np.ndarray:
    """Return Y at STEPS between each two lines, (n - 1, len(STEPS)).

    A place is left out (nan) where a line beside it is more than NEIGHBOUR times as large.
    """
    inverse = response.inverse[response.frequency_hz <= response.margins_until_hz]
    first, second = inverse[:-1, None], inverse[1:, None]
    between = first + STEPS * (second - first)
    larger = np.maximum(np.abs(first), np.abs(second))
    return np.where(larger <= NEIGHBOUR * np.abs(between), between, np.nan)


def phase_margin_deg(response: MeasuredResponse, factor: float) -> float:
    """Return the smallest phase distance to -1 where |L| is 1, in the band, at a gain factor."""
    between = _between_lines(response)
    outside = np.abs(between) > factor
    known = np.isfinite(between[:, :-1]) & np.isfinite(between[:, 1:])
    crossed = known & (outside[:, :-1] != outside[:, 1:])
    angles = np.abs(np.degrees(np.angle(between[:, :-1])))
    return float(angles[crossed].min(initial=180.0))


def peak_sensitivity(response: MeasuredResponse, factor: float) -> float:
    """Return the largest |1 / (1 + L)| in the band at a gain factor."""
    between = _between_lines(response)
    return float(np.nanmax(np.abs(between) / np.abs(between - factor)))
