"""What all pictures share: no display, the same bytes for the same data, plain scales, legends."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

INK, GRID = "#2b2b2b", "#dddddd"
DOTS_PER_INCH = 120


def new_figure(width: float, height: float) -> Figure:
    """Return an empty figure of so many inches that needs no display."""
    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def save(figure: Figure, path: Path) -> None:
    """Save as PNG, without the name and version of what wrote it."""
    figure.savefig(path, dpi=DOTS_PER_INCH, metadata={"Software": None})


def tidy(axis: Any, grid: Literal["both", "x"] | None = "both") -> None:
    """Draw a pale grid, and no frame above and at the right."""
    if grid is not None:
        axis.grid(True, which="major", axis=grid, color=GRID, lw=0.6)
    axis.spines[["top", "right"]].set_visible(False)


def plain_log_ticks(ticks: Any) -> None:
    """Let the ticks of a logarithmic axis (``axis.xaxis``) read 1, 2, 5, 10, no powers of ten."""
    ticks.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    ticks.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    ticks.set_minor_formatter(NullFormatter())


def legend_above(axis: Any, columns: int = 3) -> None:
    """Put the legend above the axes, where no curve runs."""
    axis.legend(
        loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=columns, fontsize=8, frameon=False,
        borderaxespad=0.0,
    )  # fmt: skip
