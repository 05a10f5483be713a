"""Exports a trial for one axis, with everything the self-test can check."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from gainwright.language.model import Trial
from gainwright.result_folder import check_result_folder, result_folder
from gainwright_codegen.axis_c.machine import machine_tables
from gainwright_codegen.axis_c.tables import AxisData, axis_tables
from gainwright_codegen.bundle.bundle import Bundle, make_bundle
from gainwright_codegen.schedule_c.schedule import StageSchedule


def axis_bundle(
    trial: Trial,
    axis: AxisData,
    evidence_digest: str = "",
    schedules: Sequence[StageSchedule] = (),
) -> Bundle:
    """Return the export of a trial for an axis; errors as ``make_bundle`` and ``axis_tables``."""
    stages = axis_tables(trial, axis)
    return make_bundle(trial, machine_tables(trial, axis), stages, evidence_digest, schedules)


def export_axis(
    trial: Trial,
    axis: AxisData,
    directory: str | Path,
    evidence_digest: str = "",
    force: bool = False,
    schedules: Sequence[StageSchedule] = (),
) -> Bundle:
    """Make the export and write it; errors as :func:`axis_bundle` and :func:`write_bundle`."""
    check_result_folder(directory, force=force)
    bundle = axis_bundle(trial, axis, evidence_digest, schedules)
    write_bundle(bundle, directory, force)
    return bundle


def write_bundle(bundle: Bundle, directory: str | Path, force: bool = False) -> None:
    """Write the files of a bundle; InputError as ``result_folder``."""
    with result_folder(directory, force=force) as folder:
        for name, content in bundle.files.items():
            (folder / name).write_bytes(content)
