"""The picture of a cross-check: instructions of both ticks, and where they are."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from gainwright.picture import INK, new_figure, save, tidy
from gainwright_codegen.crosscheck.run import Crosscheck

_COLOURS = ("#1f4e79", "#4f86b5", "#9fbfd8", "#c9a227", "#8a5a2b", "#7a8c3c",
                             "#5b7f77", "#a06a7c", "#b9b9b9")  # fmt: skip


def save_picture(path: Path, result: Crosscheck) -> None:
    """Save the picture as PNG; processors that nothing was counted on are left out."""
    counted = [(o.target, o.costs) for o in result.outcomes if o.costs is not None]
    figure = new_figure(12.0, 1.8 + 0.45 * len(counted))
    ticks, inside = figure.subplots(1, 2, sharey=True)
    totals = Counter[str]()
    for _, costs in counted:
        totals.update(dict(costs.where))
    functions = [name for name, _ in totals.most_common()]
    shown = functions[: len(_COLOURS) - 1]
    for line, (_, costs) in enumerate(counted):
        for part, colour, way in ((costs.control, _COLOURS[0], -0.15),
                                  (costs.sequencer, _COLOURS[3], 0.15)):  # fmt: skip
            ticks.plot([part.least, part.worst], [line + way] * 2, color=colour, lw=5, alpha=0.45)
            ticks.plot(part.typical, line + way, "o", color=colour, ms=6)
        left, by_name = 0, dict(costs.where)
        for name, colour in zip(shown, _COLOURS, strict=False):
            inside.barh(line, by_name.get(name, 0), left=left, color=colour, height=0.6,
                        label=name if line == 0 else None)  # fmt: skip
            left += by_name.get(name, 0)
        rest = sum(count for name, count in costs.where if name not in shown)
        inside.barh(line, rest, left=left, color=_COLOURS[-1], height=0.6,
                    label="others" if line == 0 else None)  # fmt: skip
    ticks.set_yticks(range(len(counted)), [name for name, _ in counted])
    ticks.set_ylim(len(counted) - 0.4, -0.6)
    ticks.set_xlim(left=0)
    ticks.set_xlabel(
        "instructions: control tick (blue) and sequencer tick;\nleast to worst, typical"
    )
    inside.set_xlabel("instructions of a sequencer tick, mean, by function")
    if shown and counted:
        inside.legend(fontsize=7, frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))
    for part in (ticks, inside):
        tidy(part, None)
        part.tick_params(labelsize=9)
    figure.suptitle("The exported C on each processor", x=0.01, ha="left", fontsize=11, color=INK)
    save(figure, path)
