"""Exports a trial for one axis, with everything the self-test can check."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from gainwright.errors import input_error
from gainwright.language.model import Trial
from gainwright.result_folder import check_result_folder, result_folder
from gainwright_codegen.axis_c.machine import machine_tables
from gainwright_codegen.axis_c.tables import AxisData, axis_tables
from gainwright_codegen.bundle.bundle import Bundle, make_bundle
from gainwright_codegen.schedule_c.schedule import StageSchedule

_HELD = re.compile(r"^(Trial|Machine) (\S+),\s+SHA-256\s", re.MULTILINE)
"""In the read-me of an export, whose it is."""


def axis_bundle(
    trial: Trial,
    axis: AxisData,
    evidence_digest: str = "",
    schedules: Sequence[StageSchedule] = (),
) -> Bundle:
    """Return the export of a trial for an axis; errors as ``make_bundle`` and ``axis_tables``."""
    stages = axis_tables(trial, axis)
    return make_bundle(trial, machine_tables(trial, axis), stages, evidence_digest, schedules)


def check_export_folder(
    directory: str | Path, trial: Trial, axis: AxisData, force: bool = False
) -> None:
    """Refuse a folder that holds the export of another trial or machine, unless ``force``.

    Raises:
        InputError: that, or as ``check_result_folder``.
    """
    check_result_folder(directory, force=force)
    readme = Path(directory) / "README.txt"
    text = readme.read_text(encoding="ascii", errors="replace") if readme.is_file() else ""
    held, wanted = dict(_HELD.findall(text)), {"Trial": trial.name, "Machine": axis.name}
    if held and held != wanted and not force:
        raise input_error(
            directory,
            "--out",
            _in_words(held),
            f"a new folder, or {_in_words(wanted)}, which would be replaced",
            "name another folder; --force replaces what is there",
        )


def _in_words(held: dict[str, str]) -> str:
    machine = f" for {held['Machine']}" if "Machine" in held else ""
    return f"an export of trial {held.get('Trial', 'unknown')}{machine}"


def export_axis(
    trial: Trial,
    axis: AxisData,
    directory: str | Path,
    evidence_digest: str = "",
    force: bool = False,
    schedules: Sequence[StageSchedule] = (),
) -> Bundle:
    """Make the export and write it; errors as :func:`axis_bundle` and :func:`write_bundle`."""
    check_export_folder(directory, trial, axis, force)
    bundle = axis_bundle(trial, axis, evidence_digest, schedules)
    write_bundle(bundle, directory, force)
    return bundle


def write_bundle(bundle: Bundle, directory: str | Path, force: bool = False) -> None:
    """Write the files of a bundle; InputError as ``result_folder``."""
    with result_folder(directory, force=force) as folder:
        for name, content in bundle.files.items():
            (folder / name).write_bytes(content)
