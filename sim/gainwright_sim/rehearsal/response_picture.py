"""The picture of a measured loop response: magnitude and phase, with the exact ones beside them."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from gainwright.picture import INK, legend_above, new_figure, plain_log_ticks, save, tidy
from gainwright_sim.rehearsal.prediction import Prediction
from gainwright_sim.rehearsal.rehearse import Rehearsal
from gainwright_sim.rehearsal.summary import StageSummary, Summary
from gainwright_sim.rig.response import MeasuredResponse
from gainwright_sim.theory.closed_loop import machine_loop
from gainwright_sim.theory.margins import open_loop

MEASURED, NOISE, LIMIT = "#1f4e79", "#ad5a00", "#b3261e"


def save_response_picture(path: Path, rehearsal: Rehearsal, summary: Summary) -> bool:
    """Save the picture as PNG; False, and no file, if no response was measured."""
    response, stage = rehearsal.response, summary.stages[0]
    if response is None or stage.prediction is None:
        return False
    table = rehearsal.tables[0]
    gain = table.gains[response.rung] if stage.result is None else stage.result
    measured = response.open_loop(gain / table.gains[response.rung])
    figure = new_figure(9.5, 7.0)
    magnitude, phase = figure.subplots(2, 1, sharex=True, height_ratios=[1.3, 1.0])
    exact = _exact(rehearsal, table.kind.setting, gain, response)
    _magnitude(magnitude, response, measured, exact, gain / table.gains[response.rung])
    _phase(phase, response, measured, exact)
    _crossing(magnitude, phase, stage, gain)
    for axis in (magnitude, phase):
        tidy(axis)
        axis.set_xscale("log")
    _frequencies(phase)
    figure.suptitle(
        f"{summary.machine}, trial {summary.trial}: open loop at {gain:.4g} {stage.unit}, as "
        f"measured at {table.gains[response.rung]:.4g} {stage.unit}\n{_words(stage.prediction)}"
        f"\n(simulated, seed {summary.seed})",
        x=0.01, ha="left", fontsize=10, color=INK,
    )  # fmt: skip
    save(figure, path)
    return True


def _words(prediction: Prediction) -> str:
    if prediction.gain_margin_db is None or prediction.phase_margin_deg is None:
        return "no result"
    return (
        f"measured: gain margin {prediction.gain_margin_db:.1f} dB, phase margin "
        f"{prediction.phase_margin_deg:.0f} degrees, Ms {prediction.peak_sensitivity:.2f}"
    )


def _exact(
    rehearsal: Rehearsal, setting: str, gain: float, response: MeasuredResponse
) -> tuple[np.ndarray, np.ndarray]:
    """Return frequencies in Hz and L of the linear loop, 2000 of each."""
    hz = np.geomspace(response.frequency_hz[0], response.frequency_hz[-1], 2000)
    loop = machine_loop(rehearsal.machine, setting, {})
    return hz, open_loop(loop, gain, 2.0 * math.pi * hz * loop.tick_s)


def _magnitude(
    axis: Any,
    response: MeasuredResponse,
    measured: np.ndarray,
    exact: tuple[np.ndarray, np.ndarray],
    factor: float,
) -> None:
    axis.plot(exact[0], np.abs(exact[1]), color=INK, lw=0.9, ls=(0, (6, 3)), label="exact")
    axis.plot(response.frequency_hz, np.abs(measured), ".", color=MEASURED, ms=4, label="measured")
    axis.plot(
        response.noise_hz, factor * response.noise, "x", color=NOISE, ms=4,
        label="noise (lines without excitation)",
    )  # fmt: skip
    axis.axhline(1.0, color=INK, lw=0.6)
    axis.set_yscale("log")
    axis.set_ylabel("|L|")
    legend_above(axis)


def _phase(
    axis: Any, response: MeasuredResponse, measured: np.ndarray,
    exact: tuple[np.ndarray, np.ndarray],
) -> None:  # fmt: skip
    for hz, values, style in (
        (exact[0], exact[1], {"color": INK, "lw": 0.9, "ls": (0, (6, 3))}),
        (response.frequency_hz, measured, {"color": MEASURED, "ls": "", "marker": ".", "ms": 4}),
    ):
        # From 0 down to -360 degrees, so that nothing jumps at the limit.
        axis.plot(hz, np.degrees(np.angle(-values)) - 180.0, **style)
    axis.axhline(-180.0, color=LIMIT, lw=0.8)
    axis.set_ylim(-365.0, 5.0)
    axis.set_yticks([-360, -270, -180, -90, 0])
    axis.set_ylabel("phase of L [degrees]")
    axis.set_xlabel("frequency [Hz]")


def _crossing(magnitude: Any, phase: Any, stage: StageSummary, gain: float) -> None:
    """Mark where the exact loop reaches the limit, and the predicted distance to it."""
    if stage.theory is None or stage.theory.frequency_hz is None or stage.prediction is None:
        return
    hz = stage.theory.frequency_hz
    for axis in (magnitude, phase):
        axis.axvline(hz, color=LIMIT, lw=0.7, ls=(0, (2, 2)))
    share = gain / stage.prediction.predicted_limit
    magnitude.plot([hz], [share], "o", color=LIMIT, ms=6, mfc="none")
    magnitude.annotate(
        f"limit predicted: {stage.prediction.predicted_limit:.4g} {stage.unit}, exact "
        f"{stage.theory.limit:.4g} at {hz:.0f} Hz",
        (hz, share), xytext=(8, 6), textcoords="offset points", fontsize=8.5, color=LIMIT,
    )  # fmt: skip


def _frequencies(axis: Any) -> None:
    plain_log_ticks(axis.xaxis)
