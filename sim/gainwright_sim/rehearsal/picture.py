"""The picture of a rehearsal: gain staircase, torque, speed, detector, against time."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from gainwright.detector.settings import LEVEL_ONE
from gainwright_sim.rehearsal.rehearse import Rehearsal
from gainwright_sim.rehearsal.summary import StageSummary, Summary

INK, GAIN, TORQUE, SPEED, RING, BURST, ONSET = (
    "#2b2b2b", "#1f4e79", "#7a5c2e", "#33691e", "#00695c", "#ad5a00", "#b3261e"
)  # fmt: skip


def save_picture(path: Path, rehearsal: Rehearsal, summary: Summary) -> None:
    """Save the picture as PNG."""
    stages = len(summary.stages)
    figure = Figure(figsize=(11, 7.6 + 1.6 * stages), layout="constrained")
    FigureCanvasAgg(figure)
    heights = [2.0] * stages + [1.4, 1.2, 1.6]
    axes = figure.subplots(stages + 3, 1, sharex=True, height_ratios=heights, squeeze=False).ravel()
    time_s = np.arange(len(rehearsal.log)) * rehearsal.trial.tick_us * 1e-6
    for place, stage in enumerate(summary.stages):
        _gain(axes[place], time_s, rehearsal, place, stage)
    _torque(axes[stages], time_s, rehearsal)
    _speed(axes[stages + 1], time_s, rehearsal)
    _levels(axes[stages + 2], time_s, rehearsal)
    for axis in axes:
        _tidy(axis, summary)
    axes[-1].set_xlabel("machine time [s]")
    axes[-1].set_xlim(0.0, time_s[-1] if len(time_s) > 1 else 1.0)
    figure.suptitle(
        f"{summary.machine}, trial {summary.trial}: {summary.outcome}   (simulated, seed "
        f"{summary.seed})",
        x=0.01, ha="left", fontsize=12, color=INK,
    )  # fmt: skip
    figure.savefig(path, dpi=120, metadata={"Software": None})


def _gain(
    axis: Any, time_s: np.ndarray, rehearsal: Rehearsal, place: int, stage: StageSummary
) -> None:
    table = rehearsal.tables[place]
    gains = np.array(table.gains)[rehearsal.output(table.stage.rung)]
    axis.step(time_s, gains, where="post", color=GAIN, lw=1.4)
    _plain_log_scale(axis)
    axis.set_ylabel(f"{stage.stage.replace('_', ' ')}\n[{stage.unit}]")
    if stage.theory is not None and stage.theory.limit is not None:
        axis.axhline(stage.theory.limit, color=INK, lw=0.9, ls=(0, (6, 3)))
        _note(axis, stage.theory.limit, f"exact limit {stage.theory.limit:.4g}")
    if stage.result is not None:
        axis.axhline(stage.result, color=GAIN, lw=0.7, ls=(0, (1, 2)))
        _note(axis, stage.result, f"chosen {stage.result:.4g}, margin {stage.margin_db:.1f} dB")
    if stage.onset_time_s is not None and stage.limit is not None:
        axis.plot([stage.onset_time_s], [stage.limit], "o", color=ONSET, ms=6, zorder=5)
        heard = "" if stage.onset_frequency_hz is None else f", {stage.onset_frequency_hz:.0f} Hz"
        axis.annotate(
            f"onset at {stage.limit:.4g}{heard}",
            (stage.onset_time_s, stage.limit),
            xytext=(-8, 6), textcoords="offset points", ha="right", color=ONSET, fontsize=9,
        )  # fmt: skip
    axis.margins(y=0.18)


def _plain_log_scale(axis: Any) -> None:
    """A logarithmic scale whose ticks read 1, 2, 5, 10, not powers of ten."""
    axis.set_yscale("log")
    axis.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axis.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axis.yaxis.set_minor_formatter(NullFormatter())


def _note(axis: Any, value: float, text: str) -> None:
    axis.annotate(
        text, (0.006, value), xycoords=("axes fraction", "data"), xytext=(0, 3),
        textcoords="offset points", fontsize=8.5, color=INK,
    )  # fmt: skip


def _torque(axis: Any, time_s: np.ndarray, rehearsal: Rehearsal) -> None:
    rated = rehearsal.machine.drive.rated_torque_nm
    low, high = (rehearsal.log.signal(name) / rated for name in ("torque_lowest", "torque_highest"))
    axis.fill_between(time_s, low, high, color=TORQUE, lw=0.6)
    axis.set_ylabel("torque\n[of rated]")


def _speed(axis: Any, time_s: np.ndarray, rehearsal: Rehearsal) -> None:
    axis.plot(time_s, rehearsal.log.signal("load_speed"), color="#9ccc65", lw=0.8, label="load")
    axis.plot(time_s, rehearsal.log.signal("speed"), color=SPEED, lw=0.8, label="motor")
    axis.set_ylabel("speed\n[rad/s]")
    axis.legend(loc="upper right", ncols=2, fontsize=8, frameon=False)


def _levels(axis: Any, time_s: np.ndarray, rehearsal: Rehearsal) -> None:
    names = {signal.name for signal in rehearsal.trial.inputs}
    for name, colour, label in (
        ("ring_level", RING, "ring (speed error), 1 = silence"),
        ("burst_level", BURST, "burst (torque), 1 = burst"),
    ):
        if name in names:
            amplitude = np.sqrt(np.maximum(rehearsal.input(name), 0.25) / LEVEL_ONE)
            axis.plot(time_s, amplitude, color=colour, lw=0.8, label=label)
    axis.axhline(1.0, color=INK, lw=0.9, ls=(0, (6, 3)))
    _plain_log_scale(axis)
    axis.set_ylabel("detector\n[of threshold]")
    axis.legend(loc="upper left", ncols=2, fontsize=8, frameon=False)


def _tidy(axis: Any, summary: Summary) -> None:
    for stage in summary.stages:
        if stage.onset_time_s is not None:
            axis.axvline(stage.onset_time_s, color=ONSET, lw=0.8, alpha=0.6)
    axis.grid(True, which="major", color="#dddddd", lw=0.6)
    axis.spines[["top", "right"]].set_visible(False)
    axis.tick_params(labelsize=9)
