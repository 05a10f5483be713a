"""The report as a page (Markdown) and as data (JSON)."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from gainwright.language.model import Trial
from gainwright.result_folder import result_folder
from gainwright_codegen.axis_c.tables import AxisData, axis_tables
from gainwright_codegen.c_text import CAUTION, identity, plain
from gainwright_codegen.precision.figures import StageFigures, stage_figures
from gainwright_codegen.precision.picture import save_picture

PAGE, DATA, PICTURE = "precision.md", "precision.json", "precision.png"


def write_report(trial: Trial, axis: AxisData, directory: str | Path, force: bool = False) -> None:
    """Write page, data and picture to a folder of results.

    Raises:
        InputError: a stage has no tables on this axis, no C compiler was found, or the folder
            cannot be written or holds files of somebody else.
    """
    tables = axis_tables(trial, axis)
    figures = [stage_figures(stage, axis) for stage in tables]
    identities = (
        identity("Trial", trial.name, trial.digest),
        identity("Machine", axis.name, axis.digest),
    )
    with result_folder(directory, "--report", force) as folder:
        (folder / PAGE).write_text(page(figures, identities), encoding="utf-8")
        text = json.dumps(document(figures, trial, axis), indent=2) + "\n"
        (folder / DATA).write_text(text, encoding="utf-8")
        save_picture(folder / PICTURE, figures, axis.timing.control_tick_s, tables)


def document(figures: Sequence[StageFigures], trial: Trial, axis: AxisData) -> dict[str, Any]:
    """Return everything as JSON data."""
    return {
        "trial_digest": trial.digest,
        "machine_digest": axis.digest,
        "stages": [dataclasses.asdict(figure) for figure in figures],
    }


def page(figures: Iterable[StageFigures], identities: Iterable[str]) -> str:
    """Return the page."""
    sections = [
        "# What fixed point costs this export",
        "\n".join(f"- {plain(line)}" for line in identities) + f"\n\n> {CAUTION}",
        f"![High-pass as designed and as realised, and levels of both detectors]({PICTURE})",
        _UNITS,
    ]
    for figure in figures:
        sections += [f"## Stage `{figure.stage}`", *_stage(figure)]
    return "\n\n".join(section.strip() for section in sections) + "\n"


_UNITS = """\
One LSB of a signal is 2^-24 of rated torque or top speed (Q4.24), one LSB of a coefficient 2^-30
(Q1.30). "Designed" is the filter in double precision. Largest gain: the largest output for an input
of at most one, whatever it is. Bits: without the sign."""


def _stage(figure: StageFigures) -> list[str]:
    return [
        _coefficients(figure),
        _filter(figure),
        "### Accumulators\n\n"
        + _table(
            ("sum", "largest magnitude", "bits used", "bits there", "bits to spare"),
            (
                (a.what, f"{a.largest:.3e}", f"{a.used_bits:.1f}", str(a.bits),
                 f"{a.bits - a.used_bits:.1f}")
                for a in figure.accumulators
            ),
        ),
        "### Thresholds\n\n"
        + _table(
            ("level", "sine at the threshold, LSB", "above rounding noise", "one unit of level",
             "error of the scale", "saturates at"),
            (
                (t.name, f"{t.amplitude_lsb:.0f}",
                 f"{t.amplitude_lsb / figure.squared_noise_rms_lsb:.0f} times",
                 f"{100 * t.step_relative:.2f} % of the amplitude", f"{t.scale_error:.1e}",
                 f"{t.saturates_at:.0f} times the threshold")
                for t in figure.thresholds
            ),
        ),
        f"### Ladder\n\nFormat {figure.ladder_format}. Largest error of a rung "
        f"{figure.ladder_error:.1e}, least step between two rungs {figure.ladder_step:.4f} "
        "(relative).",
        _compared(figure),
    ]  # fmt: skip


def _coefficients(figure: StageFigures) -> str:
    rows = (
        (f"{number} {c.name}", f"{c.designed:+.10f}", str(c.word), f"{c.error_lsb:+.2f}")
        for number, section in enumerate(figure.coefficients, 1)
        for c in section
    )
    poles = (
        (str(number), f"{s.pole_radius[0]:.9f}", f"{s.pole_radius[1] - s.pole_radius[0]:+.1e}",
         f"{s.pole_frequency_hz[0]:.6f}", f"{s.pole_frequency_hz[1] - s.pole_frequency_hz[0]:+.1e}")
        for number, s in enumerate(figure.sections, 1)
    )  # fmt: skip
    low, high = figure.response.band_hz
    return (
        "### Coefficients\n\n"
        + _table(("section", "designed", "word", "error, LSB"), rows)
        + "\n"
        + _table(("section", "pole radius", "moved by", "pole frequency, Hz", "moved by"), poles)
        + f"\nThe response is off by at most {figure.response.largest_db:.1e} dB between "
        f"{low:.0f} and {high:.0f} Hz (at {figure.response.at_hz:.0f} Hz)."
    )


def _filter(figure: StageFigures) -> str:
    cycle = figure.limit_cycle
    kind = {0: "constant", -1: "without a period that was found"}.get(
        cycle.period_ticks, f"of {cycle.period_ticks} ticks"
    )
    stays = f"{cycle.largest_lsb} LSB, {kind}" if cycle.largest_lsb else "nothing: it ends at 0"
    first, second, whole = figure.gains
    return (
        "### Range, noise floor and limit cycles\n\n"
        f"- Largest gain of section 1, section 2 and both: {first:.3f}, {second:.3f}, {whole:.3f}. "
        f"Each output saturates at 16; inputs up to {16 / whole:.2f} never get there.\n"
        f"- Rounding noise of the filtered signal: at most {figure.noise_rms_lsb:.2f} LSB rms, "
        f"{figure.squared_noise_rms_lsb:.2f} with the bits that it loses before it is squared; "
        f"an error by rounding in the filter stays below {cycle.bound_lsb:.1f} LSB.\n"
        f"- At rest after signals of any size there stays: {stays}."
    )


def _compared(figure: StageFigures) -> str:
    c = figure.comparison
    return (
        "### Detection beside double precision\n\n"
        f"{c.signals} drawn signals of each kind, oscillations that grow from below an encoder "
        f"count to a burst, with noise and slow motion; {c.blocks} blocks with a level of 64 to "
        f"4096 (256 is the threshold). Level, fixed point against double: {c.mean_difference:+.2%} "
        f"on average (a level is rounded down), at most {c.largest_difference:.2%}. Blocks on the "
        f"other side of the threshold: {c.decided_otherwise}. Signals whose first burst falls into "
        f"another block: {c.onset_otherwise}."
    )


def _table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = (headings, ["---"] * len(headings), *rows)
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)
