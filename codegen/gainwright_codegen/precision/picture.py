"""The picture of the report: responses and their difference, bits used, thresholds over noise."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from gainwright.fixed.section import cascade_response
from gainwright.picture import INK, legend_above, new_figure, save, tidy
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_codegen.precision.figures import StageFigures

_LINE, _PALE = "#1f4e79", "#c9d6e2"


def save_picture(
    path: Path,
    figures: Sequence[StageFigures],
    control_tick_s: float,
    tables: Sequence[StageTables],
) -> None:
    """Save the picture as PNG; a line of three parts for each stage."""
    figure = new_figure(12.5, 0.6 + 3.4 * len(figures))
    grid = figure.subplots(len(figures), 3, squeeze=False)
    for line, stage, table in zip(grid, figures, tables, strict=True):
        _response(line[0], stage, table, 1.0 / control_tick_s)
        _bits(line[1], stage)
        _room(line[2], stage)
        for part in line:
            tidy(part, None)
            part.tick_params(labelsize=8)
    figure.suptitle(
        "Fixed point: filter, accumulators and room between noise and saturation",
        x=0.01, ha="left", fontsize=11, color=INK,
    )  # fmt: skip
    save(figure, path)


def _response(part, stage: StageFigures, table: StageTables, rate_hz: float) -> None:  # type: ignore[no-untyped-def]
    grid_hz = np.geomspace(table.detector.corner_hz / 10, rate_hz / 2, 600)
    quantised = table.detector.quantised
    designed = cascade_response([q.designed for q in quantised], grid_hz, rate_hz)
    realised = cascade_response([q.realised() for q in quantised], grid_hz, rate_hz)
    part.loglog(grid_hz, np.abs(designed), color=_LINE, lw=1.6, label="high-pass as designed")
    error = np.maximum(np.abs(realised - designed), 1e-14)
    part.loglog(grid_hz, error, color=INK, lw=0.9, label="realised less designed")
    part.set_xlabel("frequency, Hz", fontsize=9)
    part.set_ylabel("gain", fontsize=9)
    part.set_title(f"stage {stage.stage}", fontsize=9, loc="left")
    legend_above(part, 1)


def _bits(part, stage: StageFigures) -> None:  # type: ignore[no-untyped-def]
    names = [a.what for a in stage.accumulators]
    places = range(len(names))
    part.barh(places, [a.bits for a in stage.accumulators], color=_PALE, height=0.6)
    part.barh(places, [a.used_bits for a in stage.accumulators], color=_LINE, height=0.6)
    part.set_yticks(places, names, fontsize=8)
    part.invert_yaxis()
    part.set_xlabel("bits without the sign: used at most (dark), there (pale)", fontsize=9)


def _room(part, stage: StageFigures) -> None:  # type: ignore[no-untyped-def]
    lines = [
        ("rounding noise, rms", stage.noise_rms_lsb),
        ("... with headroom bits", stage.squared_noise_rms_lsb),
        ("bound of its errors", stage.limit_cycle.bound_lsb),
        *((f"threshold, {t.name}", t.amplitude_lsb) for t in stage.thresholds),
        ("saturation", 2.0**28),
    ]
    places = range(len(lines))
    part.plot([value for _, value in lines], places, "o", color=_LINE, ms=6)
    part.set_xscale("log", base=2)
    part.set_xlim(0.25, 2.0**30)
    part.set_yticks(places, [name for name, _ in lines], fontsize=8)
    part.grid(True, axis="x", color="#dddddd", lw=0.6)
    part.set_xlabel("amplitude of the filtered signal, LSB of Q4.24", fontsize=9)
