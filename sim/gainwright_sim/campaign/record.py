"""The record of a campaign: a folder of trial, tables, picture and the lines that replay."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

from gainwright.language.model import Trial
from gainwright.result_folder import result_folder
from gainwright_sim.campaign.broken import BrokenAxis
from gainwright_sim.campaign.picture import save_picture
from gainwright_sim.campaign.report import FamilyReport
from gainwright_sim.campaign.run import AxisResult
from gainwright_sim.campaign.words import replay_line
from gainwright_sim.rehearsal.lines_csv import lines_csv
from gainwright_sim.rehearsal.words import CAUTION

FILES = """\
report.txt     what was found, as it was printed
campaign.json  the same as numbers, with every axis; `gainwright compare` reads it
axes.csv       one line per axis
replay.txt     the commands that repeat each axis outside the numbers, worst first
campaign.png   limits, results and oscillations, a line for each family
trial.toml     the trial that was rehearsed
"""


def write_campaign(
    directory: str | Path,
    trial_file: Path,
    trial: Trial,
    results: Mapping[str, Sequence[AxisResult]],
    reports: Sequence[FamilyReport],
    lines: Sequence[str],
    trial_option: str,
    force: bool = False,
) -> None:
    """Write the record to a folder, whole or not at all.

    Args:
        directory: where to.
        trial_file: the specification as it was read.
        trial: the same, loaded.
        results: by the name of the family.
        reports: one per family.
        lines: of the printed report.
        trial_option: repeated in the lines that replay.
        force: as :func:`gainwright.result_folder.result_folder`.

    Raises:
        InputError: as :func:`gainwright.result_folder.result_folder`.
    """
    with result_folder(directory, force=force) as folder:
        (folder / "trial.toml").write_bytes(trial_file.read_bytes())
        _write(folder / "report.txt", "\n".join(lines) + "\n")
        data = {
            "trial": trial.name,
            "trial_digest": trial.digest,
            "families": [report.as_json() for report in reports],
            "axes": [asdict(result) for group in results.values() for result in group],
        }
        _write(folder / "campaign.json", json.dumps(data, indent=2, allow_nan=False) + "\n")
        _write(
            folder / "axes.csv",
            lines_csv(AxisResult, [r for group in results.values() for r in group]),
        )
        worst = [r for report in reports for r in report.wrong]
        worst += [r for report in reports for r in report.outside]
        _write(folder / "replay.txt", "".join(f"{replay_line(r, trial_option)}\n" for r in worst))
        save_picture(folder / "campaign.png", results)
        _write(folder / "README.txt", f"{FILES}\n{CAUTION}\n")


BROKEN_FILES = """\
report.txt     what was made of each kind of fault, as it was printed
faults.json    the same, with every axis
axes.csv       one line per axis
replay.txt     the commands that repeat each axis that was verified although broken
trial.toml     the trial that was rehearsed
"""


def write_broken(
    directory: str | Path,
    trial_file: Path,
    trial: Trial,
    results: Sequence[BrokenAxis],
    lines: Sequence[str],
    trial_option: str,
    force: bool = False,
) -> None:
    """Write the record of axes that broke; arguments and errors as :func:`write_campaign`."""
    wrong = [result for result in results if result.wrong]
    with result_folder(directory, force=force) as folder:
        (folder / "trial.toml").write_bytes(trial_file.read_bytes())
        _write(folder / "report.txt", "\n".join(lines) + "\n")
        data = {
            "trial": trial.name,
            "trial_digest": trial.digest,
            "axes": [asdict(result) | {"wrong": result.wrong} for result in results],
        }
        _write(folder / "faults.json", json.dumps(data, indent=2, allow_nan=False) + "\n")
        _write(folder / "axes.csv", lines_csv(BrokenAxis, results))
        replays = (f"gainwright rehearse {r.replay}{trial_option}\n" for r in wrong)
        _write(folder / "replay.txt", "".join(replays))
        _write(folder / "README.txt", f"{BROKEN_FILES}\n{CAUTION}\n")


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="")
