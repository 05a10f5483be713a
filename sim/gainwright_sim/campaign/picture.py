"""The picture of a campaign: a line of dots for each family, a dot for each axis."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.ticker import FuncFormatter, NullFormatter

from gainwright.picture import INK, new_figure, save, tidy
from gainwright_sim.campaign.report import LIMIT_BAND, OSCILLATION, OSCILLATION_EXTREME
from gainwright_sim.campaign.run import AxisResult
from gainwright_sim.rehearsal.outcome import HIGHEST_RESULT_SHARE, OUTCOMES

DOT, WRONG = "#1f4e79", "#b3261e"
LIMIT_RANGE, RESULT_RANGE, OSCILLATION_RANGE = (0.03, 3.0), (0.0, 1.5), (0.0, 0.5)
"""Values beyond these are drawn at the edge, as triangles."""


def save_picture(path: Path, results: Mapping[str, Sequence[AxisResult]]) -> None:
    """Save the picture as PNG."""
    figure = new_figure(11.5, 1.9 + 0.55 * len(results))
    limits, shares, calm = figure.subplots(1, 3, sharey=True, width_ratios=[1.5, 1.0, 1.0])
    for line, group in enumerate(results.values()):
        _dots(limits, line, group, "limit_share", LIMIT_RANGE)
        _dots(shares, line, group, "result_share", RESULT_RANGE)
        _dots(calm, line, group, "oscillation_of_limit", OSCILLATION_RANGE)
    _limit_scale(limits)
    shares.axvline(HIGHEST_RESULT_SHARE, color=INK, lw=0.9, ls=(0, (6, 3)))
    shares.axvline(1.0, color=WRONG, lw=0.9)
    shares.set_xlabel("result / exact limit\n(dashed: highest allowed)")
    calm.axvline(OSCILLATION, color=INK, lw=0.9, ls=(0, (6, 3)))
    calm.axvline(OSCILLATION_EXTREME, color=WRONG, lw=0.9)
    calm.set_xlabel("largest torque oscillation,\nof the torque limit")
    limits.set_yticks(range(len(results)), [_label(name, results[name]) for name in results])
    limits.set_ylim(len(results) - 0.4, -0.6)
    for axis in (limits, shares, calm):
        tidy(axis, "x")
        axis.tick_params(labelsize=9)
    figure.suptitle(
        "Campaign on simulated random axes, against exact theory; red: verified, and wrong",
        x=0.01, ha="left", fontsize=11, color=INK,
    )  # fmt: skip
    save(figure, path)


def _label(name: str, group: Sequence[AxisResult]) -> str:
    without = sum(not OUTCOMES[result.outcome].has_result for result in group)
    return f"{name}\n{len(group)} axes, {without} without result"


def _dots(
    axis: Any, line: int, group: Sequence[AxisResult], name: str, span: tuple[float, float]
) -> None:
    known = [result for result in group if getattr(result, name) is not None]
    values = np.array([getattr(result, name) for result in known], dtype=float)
    wrong = np.array([result.wrong for result in known], dtype=bool)
    # Spread by a fixed pattern, not at random: the same campaign gives the same picture.
    heights = line + 0.56 * ((np.arange(len(known)) * 0.618034) % 1.0 - 0.5)
    inside = (values >= span[0]) & (values <= span[1])
    for marker, chosen, size in ((".", inside, 14), (">", values > span[1], 16),
                                 ("<", values < span[0], 16)):  # fmt: skip
        for colour, those, front in ((DOT, chosen & ~wrong, 2), (WRONG, chosen & wrong, 3)):
            axis.scatter(
                np.clip(values[those], *span), heights[those], s=size, marker=marker, c=colour,
                alpha=0.45 if front == 2 else 1.0, lw=0, zorder=front, clip_on=False,
            )  # fmt: skip
    axis.set_xlim(*span)


def _limit_scale(axis: Any) -> None:
    axis.set_xscale("log")
    axis.axvspan(*LIMIT_BAND, color="#c8e6c9", lw=0, zorder=0)
    axis.set_xticks([0.03, 0.1, 0.3, 0.5, 1.0, 2.0, 3.0])
    axis.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axis.xaxis.set_minor_formatter(NullFormatter())
    axis.set_xlabel(
        f"limit found by onset / exact limit\n(green: {LIMIT_BAND[0]} to {LIMIT_BAND[1]})"
    )
