"""The picture of the load's decays: a straight line that meets zero at the limit."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from gainwright.picture import INK, legend_above, new_figure, save, tidy
from gainwright_sim.rehearsal.summary import Summary
from gainwright_sim.theory.closed_loop import LOAD_SETTING

FOUND, CHOSEN = "#1f4e79", "#ad5a00"


def save_load_picture(path: Path, summary: Summary) -> None:
    """Save the picture as PNG, if there is a limit from decays."""
    found = summary.load_limit
    if found is None:
        return
    stage = next(stage for stage in summary.stages if stage.stage == LOAD_SETTING)
    figure = new_figure(8.0, 4.6)
    axis = figure.subplots()
    ends = np.array([0.0, found.limit_per_s])
    axis.plot(ends, [found.own_decay_per_s, 0.0], color=FOUND, lw=1.0, label="line through them")
    for sure, marker in ((True, "o"), (False, "x")):
        points = [(d.gain_per_s, d.decay_per_s) for d in found.decays if d.sure is sure]
        label = "decay heard" if sure else "not sure"
        if points:
            axis.plot(*zip(*points, strict=True), marker, color=FOUND, ms=6, label=label)
    exact = None if stage.theory is None else stage.theory.limit
    if exact is not None:
        axis.axvline(exact, color=INK, lw=0.9, ls=(0, (6, 3)), label=f"exact limit {exact:.4g}")
    if stage.result is not None:
        axis.axvline(stage.result, color=CHOSEN, lw=0.9, label=f"chosen {stage.result:.4g}")
    axis.axhline(0.0, color=INK, lw=0.8)
    axis.set_xlim(left=0.0)
    axis.set_xlabel("gain of the load's position [1/s]")
    axis.set_ylabel("decay of the load's swinging [1/s]")
    legend_above(axis)
    tidy(axis)
    figure.suptitle(
        f"{summary.machine}, trial {summary.trial}: limit {found.limit_per_s:.4g} 1/s, not crossed "
        f"(simulated, seed {summary.seed})", x=0.01, ha="left", fontsize=11,
    )  # fmt: skip
    save(figure, path)
