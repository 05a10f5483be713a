"""The picture of a rehearsal: gain staircase, torque, speed, detector, state, against time."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from gainwright.detector.settings import LEVEL_ONE
from gainwright.picture import INK, legend_above, new_figure, plain_log_ticks, save, tidy
from gainwright_sim.rehearsal.outcome import OUTCOMES
from gainwright_sim.rehearsal.prediction import PredictionMade, predictions_made
from gainwright_sim.rehearsal.rehearse import Rehearsal
from gainwright_sim.rehearsal.summary import StageSummary, Summary
from gainwright_sim.rehearsal.words import headline

GAIN, TORQUE, SPEED, RING, BURST, NOISE, ONSET = (
    "#1f4e79", "#7a5c2e", "#33691e", "#00695c", "#ad5a00", "#6a1b9a", "#b3261e"
)  # fmt: skip


def save_picture(path: Path, rehearsal: Rehearsal, summary: Summary) -> None:
    """Save the picture as PNG."""
    panels = list(_panels(rehearsal, summary))
    heights = [height for height, _ in panels]
    figure = new_figure(11.5, sum(heights) + 3.0)
    axes = figure.subplots(len(panels), 1, sharex=True, height_ratios=heights, squeeze=False)[:, 0]
    time_s = np.arange(len(rehearsal.log)) * rehearsal.trial.tick_us * 1e-6
    for axis, (_, draw) in zip(axes, panels, strict=True):
        draw(axis, time_s, rehearsal)
        _mark_onsets(axis, summary)
    _mark_end(axes[-1], rehearsal, summary)
    axes[-1].set_xlabel("machine time [s]")
    axes[-1].set_xlim(0.0, 1.004 * time_s[-1] if len(time_s) > 1 else 1.0)
    figure.suptitle(
        f"{summary.machine}, trial {summary.trial}: {headline(summary.outcome)}\n"
        f"(simulated, seed {summary.seed})",
        x=0.01, ha="left", fontsize=11, color=ONSET if OUTCOMES[summary.outcome].wrong else INK,
        wrap=True,
    )  # fmt: skip
    save(figure, path)


def _panels(
    rehearsal: Rehearsal, summary: Summary
) -> Iterator[tuple[float, Callable[[Any, np.ndarray, Rehearsal], None]]]:
    """Yield height, in inches, and function of each panel, from above."""
    for place, stage in enumerate(summary.stages):
        yield 2.0, partial(_gain, place=place, stage=stage)
    yield 1.4, _torque
    yield 1.2, _speed
    yield 1.6, _levels
    if rehearsal.machine.load_sensor is not None:
        yield 1.2, _load
    visited = np.unique(rehearsal.log.state).tolist()
    yield 0.2 + 0.13 * len(visited), partial(_states, visited=visited)


def _gain(
    axis: Any, time_s: np.ndarray, rehearsal: Rehearsal, *, place: int, stage: StageSummary
) -> None:
    table = rehearsal.tables[place]
    gains = np.array(table.gains)[rehearsal.output(table.stage.rung)]
    axis.step(time_s, gains, where="post", color=GAIN, lw=1.4)
    _plain_log_scale(axis)
    axis.set_ylabel(f"{stage.stage.replace('_', ' ')}\n[{stage.unit}]")
    exact = None if stage.theory is None else stage.theory.limit
    exact_above = exact is not None and stage.result is not None and exact >= stage.result
    if exact is not None:
        axis.axhline(exact, color=INK, lw=0.9, ls=(0, (6, 3)))
        _note(axis, exact, f"exact limit\n{exact:.4g}", INK, exact_above)
    if stage.result is not None:
        axis.axhline(stage.result, color=GAIN, lw=0.7, ls=(0, (1, 2)))
        text = f"chosen {stage.result:.4g}"
        if stage.margin_db is not None:
            text += f"\nmargin {stage.margin_db:.1f} dB"
        _note(axis, stage.result, text, GAIN, not exact_above)
    if stage.onset_time_s is not None and stage.limit is not None:
        axis.plot([stage.onset_time_s], [stage.limit], "o", color=ONSET, ms=6, zorder=5)
        at = "" if stage.onset_frequency_hz is None else f", {stage.onset_frequency_hz:.0f} Hz"
        early = stage.onset_time_s < 0.3 * max(time_s[-1], 1e-9)
        axis.annotate(
            f"onset at {stage.limit:.4g}{at}",
            (stage.onset_time_s, stage.limit),
            xytext=(8 if early else -8, 7), textcoords="offset points",
            ha="left" if early else "right", color=ONSET, fontsize=9,
        )  # fmt: skip
    _predictions(axis, time_s, predictions_made(rehearsal, table))
    axis.margins(y=0.18)


def _predictions(axis: Any, time_s: np.ndarray, made: list[PredictionMade]) -> None:
    """Mark what each evaluation predicted, with its noise."""
    if made:
        limits = np.array([prediction.limit for prediction in made])
        axis.errorbar(
            time_s[[prediction.tick for prediction in made]], limits,
            yerr=limits * [prediction.spread for prediction in made], fmt="D", color=NOISE, ms=4,
            elinewidth=1.0, capsize=3, label="limit predicted",
        )  # fmt: skip
        legend_above(axis)


def _plain_log_scale(axis: Any) -> None:
    """A logarithmic scale whose ticks read 1, 2, 5, 10, not powers of ten."""
    axis.set_yscale("log")
    plain_log_ticks(axis.yaxis)


def _note(axis: Any, value: float, text: str, colour: str, above: bool) -> None:
    """Write beside the axis, above or below the line that is meant."""
    axis.annotate(
        text, (1.005, value), xycoords=("axes fraction", "data"), fontsize=8.5, color=colour,
        va="bottom" if above else "top", annotation_clip=False,
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
    legend_above(axis)


def _levels(axis: Any, time_s: np.ndarray, rehearsal: Rehearsal) -> None:
    names = {signal.name for signal in rehearsal.trial.inputs}
    for name, colour, label in (
        ("ring_level", RING, "ring (speed error), 1 = silence"),
        ("burst_level", BURST, "burst (torque), 1 = burst"),
        ("noise_level", NOISE, "noise alone (torque)"),
    ):
        if name in names:
            amplitude = np.sqrt(np.maximum(rehearsal.input(name), 0.25) / LEVEL_ONE)
            axis.plot(time_s, amplitude, color=colour, lw=0.8, label=label)
    axis.axhline(1.0, color=INK, lw=0.9, ls=(0, (6, 3)))
    _plain_log_scale(axis)
    axis.set_ylabel("detector\n[of threshold]")
    legend_above(axis)


def _load(axis: Any, time_s: np.ndarray, rehearsal: Rehearsal) -> None:
    """How far the sensor at the load is from the motor's encoder: what the load swings by."""
    per_m = rehearsal.machine.motor_rad_per_load_m
    scale, unit = (1e3, "mrad") if per_m is None else (1e3 / per_m, "mm")
    apart = rehearsal.log.signal("load_position") - rehearsal.log.signal("position")
    axis.plot(time_s, scale * apart, color=RING, lw=0.6)
    axis.set_ylabel(f"load ahead\nof motor [{unit}]")


def _states(axis: Any, time_s: np.ndarray, rehearsal: Rehearsal, *, visited: list[int]) -> None:
    """A bar for each stay in a state."""
    tick_s, states = rehearsal.trial.tick_us * 1e-6, rehearsal.log.state
    edges = [0, *(np.flatnonzero(np.diff(states)) + 1), len(states)]
    shortest_s = len(states) * tick_s / 800
    for line, number in enumerate(visited):
        stays = [
            (start * tick_s, max(shortest_s, (stop - start) * tick_s))
            for start, stop in pairwise(edges)
            if states[start] == number
        ]
        axis.broken_barh(stays, (line - 0.4, 0.8), color=GAIN, lw=0)
    names = [rehearsal.trial.states[number].name for number in visited]
    axis.set_yticks(range(len(visited)), [name.replace("_", " ") for name in names])
    axis.set_ylim(len(visited) - 0.5, -0.5)
    axis.set_ylabel("state")


def _mark_end(axis: Any, rehearsal: Rehearsal, summary: Summary) -> None:
    """Mark what decided the end, or each violated tick, and write it above the states."""
    if summary.violations:
        tick_s, colour = rehearsal.trial.tick_us * 1e-6, ONSET
        times = [violation["tick"] * tick_s for violation in summary.violations]
        names = dict.fromkeys(violation["requirement_id"] for violation in summary.violations)
        text = f"violated: {', '.join(names)}"
    elif summary.ending is not None:
        end, colour = summary.ending, INK
        times = [end.time_s]
        text = f"{end.reason or end.row}: {end.words or end.why}"
    else:
        return
    for time_s in dict.fromkeys(times):
        axis.axvline(time_s, color=colour, lw=1.2, ls=(0, (3, 2)))
    axis.annotate(
        f"{times[0]:.3f} s  {textwrap.fill(text, 150)}", (0.0, 1.0), xycoords="axes fraction",
        xytext=(0, 3), textcoords="offset points", fontsize=8.5, color=colour,
    )  # fmt: skip


def _mark_onsets(axis: Any, summary: Summary) -> None:
    for stage in summary.stages:
        if stage.onset_time_s is not None:
            axis.axvline(stage.onset_time_s, color=ONSET, lw=0.8, alpha=0.6)
    tidy(axis)
    axis.tick_params(labelsize=9)
