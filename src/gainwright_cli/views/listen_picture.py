"""The picture of a listening: signals, what the detector hears of them, its levels, the onset."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from gainwright.detector.settings import LEVEL_ONE
from gainwright.listening.blocks import Blocks
from gainwright.listening.listen import Listening
from gainwright.picture import INK, new_figure, plain_log_ticks, save, tidy

FloatArray = npt.NDArray[np.float64]

COLUMNS = 3000
"""Longer signals are drawn as the band between least and largest value of this many pieces."""
TORQUE, SPEED, QUIET, SETTLING, ONSET = (
    "#8a5a14", "#1b5e63", "#e3f0e3", "#e4e4e4", "#b3261e"
)  # fmt: skip
REASON_WIDTH = 130
"""Letters in a line of the title."""
LOWEST_SHOWN = 0.05
"""Smallest amplitude, share of the threshold, that the panel of levels shows."""


def save_listen_picture(path: Path, listening: Listening) -> None:
    """Save the picture as PNG."""
    figure = new_figure(11, 9.2)
    axes = figure.subplots(5, 1, sharex=True, height_ratios=[1.1, 1.1, 1.3, 1.3, 1.8])
    recording, thresholds = listening.recording, listening.thresholds
    burst, silence = thresholds.burst.amplitude_per_unit, thresholds.silence.amplitude_per_unit
    _signal(axes[0], listening, recording.torque_per_unit, TORQUE, "torque\n[per unit]")
    _name(axes[0], recording.torque_name)
    _signal(axes[1], listening, recording.speed_error_per_unit, SPEED, "speed error\n[per unit]")
    _name(axes[1], recording.speed_error_name)
    _heard(axes[2], listening, listening.torque, TORQUE, burst, "torque\nin band")
    _heard(axes[3], listening, listening.speed_error, SPEED, silence, "speed error\nin band")
    _levels(axes[4], listening)
    for axis in axes:
        _marks(axis, listening)
    axes[-1].set_xlabel("time in the recording [s]")
    # Below all axes, where no curve runs.
    handles, labels = axes[-1].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower left", ncols=5, fontsize=8, frameon=False)
    axes[-1].set_xlim(0.0, recording.duration_s)
    figure.suptitle(
        f"{_title(listening)}\n{_reason(listening)}", x=0.01, ha="left", fontsize=11, color=INK
    )
    save(figure, path)


def _title(listening: Listening) -> str:
    name = Path(listening.recording.file).name
    onset = listening.onset
    if onset is None:
        return f"{name}: {listening.verdict.value}, {listening.recording.duration_s:.4g} s"
    return (
        f"{name}: onset at {onset.time_s:.3f} s near {listening.onset_frequency_hz:.0f} Hz "
        f"({onset.cause.value})"
    )


def _reason(listening: Listening) -> str:
    return "\n".join(textwrap.wrap("; ".join(listening.reasons), REASON_WIDTH))


def _name(axis: Any, channel: str) -> None:
    axis.set_title(channel, loc="left", fontsize=8.5, color=INK, pad=2)


def _signal(axis: Any, listening: Listening, values: FloatArray, colour: str, label: str) -> None:
    time_s, low, high = envelope(values, listening.recording.sample_rate_hz)
    if low is high:
        axis.plot(time_s, low, color=colour, lw=0.7)
    else:
        axis.fill_between(time_s, low, high, color=colour, lw=0.4)
    axis.set_ylabel(label)


def _heard(
    axis: Any,
    listening: Listening,
    values: FloatArray,
    colour: str,
    threshold: float,
    label: str,
) -> None:
    _signal(axis, listening, values, colour, label)
    for sign in (1.0, -1.0):
        axis.axhline(sign * threshold, color=INK, lw=0.9, ls=(0, (6, 3)))
    # The transient at the start may be far larger than all that follows.
    settled = values[round(listening.band.settling_s * listening.band.sample_rate_hz) :]
    largest = max(threshold, float(np.max(np.abs(settled), initial=0.0)))
    axis.set_ylim(-1.15 * largest, 1.15 * largest)


def _levels(axis: Any, listening: Listening) -> None:
    for blocks, colour, label in (
        (listening.ring, SPEED, "ring (speed error), 1 = silence"),
        (listening.burst, TORQUE, "burst (torque), 1 = burst"),
    ):
        time_s, amplitude = _steps(blocks)
        axis.step(time_s, amplitude, where="post", color=colour, lw=0.9, label=label)
    axis.axhline(1.0, color=INK, lw=0.9, ls=(0, (6, 3)))
    axis.set_yscale("log")
    plain_log_ticks(axis.yaxis)
    axis.set_ylim(LOWEST_SHOWN, max(4.0, 2.0 * axis.get_ylim()[1]))
    axis.set_ylabel("detector level\n[of threshold]")


def _steps(blocks: Blocks) -> tuple[FloatArray, FloatArray]:
    """Return when the level changes, and to which amplitude, as a share of the threshold.

    Many blocks are drawn as the strongest of each group.
    """
    group = -(-len(blocks.values) // COLUMNS)
    firsts = np.arange(0, len(blocks.values), max(1, group))
    levels = np.maximum.reduceat(blocks.values, firsts) if len(firsts) else blocks.values
    amplitude = np.sqrt(levels / LEVEL_ONE)
    return blocks.ends_s[firsts], np.maximum(amplitude, 0.5 * LOWEST_SHOWN)


def _marks(axis: Any, listening: Listening) -> None:
    settling_s = listening.band.settling_s
    axis.axvspan(0.0, settling_s, color=SETTLING, lw=0.0, zorder=0, label="filter settles")
    quiet = listening.thresholds.quiet
    if quiet is not None:
        label = f"quiet part ({quiet.sureness})"
        axis.axvspan(quiet.from_s, quiet.to_s, color=QUIET, lw=0.0, zorder=0, label=label)
    if listening.onset is not None:
        axis.axvline(listening.onset.time_s, color=ONSET, lw=1.1, label="onset")
    axis.set_axisbelow(True)
    tidy(axis)
    axis.tick_params(labelsize=9)


def envelope(
    values: FloatArray, sample_rate_hz: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return times, least and largest values of the pieces; one array twice for short signals."""
    group = -(-len(values) // COLUMNS)
    if group <= 1:
        return np.arange(len(values)) / sample_rate_hz, values, values
    firsts = np.arange(0, len(values), group)
    low, high = np.minimum.reduceat(values, firsts), np.maximum.reduceat(values, firsts)
    return firsts / sample_rate_hz, low, high
