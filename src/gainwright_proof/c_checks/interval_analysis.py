"""Interval analysis of detector, filters and pulse, and of the exported tables."""

from __future__ import annotations

import importlib.metadata
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from pathlib import Path

from gainwright_proof.c_checks.defects import (
    PRODUCT,
    PULSE_INDEX,
    SATURATION,
    SHIFT,
    SQUARE,
    Defect,
    table_defect,
)
from gainwright_proof.c_checks.intervals import (
    RangeRow,
    UnsupportedC,
    machine_ranges,
    source_ranges,
)
from gainwright_proof.c_checks.report import Outcome, Task, Wait, finding
from gainwright_proof.c_checks.workspace import MACHINE_FILE, preprocessed, workspace
from gainwright_proof.verdict import Finding, Verdict

_DETECTOR = '#include "gw_detector.c"\n#include "gw_pulse.h"\n'
_TABLES = '#include "gw_machine.c"\n'
_PLANTS = (PRODUCT, SATURATION, SQUARE, SHIFT, PULSE_INDEX)
_RowsOf = Callable[[Path], tuple[RangeRow, ...]]


def exported_ranges(sources: Mapping[str, bytes]) -> tuple[RangeRow, ...]:
    """Return the ranges of detector, pulse and tables of an export, for a table on paper.

    Args:
        sources: content of the exported files by name, with ``gw_detector.c``.

    Raises:
        UnsupportedC: the analysis does not understand them.
        InputError, LookupError: they cannot be preprocessed.
    """
    with workspace(sources) as made:
        tables = table_rows(made.folder) if made.has_machine else ()
        return detector_rows(made.folder) + tables


def detector_rows(folder: Path) -> tuple[RangeRow, ...]:
    """Return the ranges of detector and pulse of the exported files in a folder.

    Raises:
        UnsupportedC: the analysis does not understand them.
        InputError, LookupError: they cannot be preprocessed.
    """
    return source_ranges(preprocessed(folder, _DETECTOR))


def table_rows(folder: Path) -> tuple[RangeRow, ...]:
    """Return the ranges of the exported tables; errors as :func:`detector_rows`."""
    return machine_ranges(preprocessed(folder, _TABLES))


def interval_analysis(pool: Executor, task: Task) -> Wait:
    """Start the analysis; see :class:`gainwright_proof.c_checks.report.Method`."""
    future = pool.submit(_findings, task)
    return future.result


def _findings(task: Task) -> list[Finding]:
    if "gw_detector.c" not in task.workspace.exported:
        return []
    method = f"interval analysis (gainwright, pycparser {importlib.metadata.version('pycparser')})"
    folder = task.workspace.folder
    found = [
        finding(
            "gw_detector_sample",
            method,
            "every expression of detector and pulse for all inputs, states and settings that the "
            "headers allow, and blocks of any allowed length",
            _outcome(detector_rows, folder),
            [(defect, _missed(task, detector_rows, defect)) for defect in _PLANTS],
        )
    ]
    if task.workspace.has_machine:
        claim = "every setting in the exported tables is inside the range that the headers allow"
        defects = [table_defect((folder / MACHINE_FILE).read_text(encoding="ascii"))]
        missed = [(defect, _missed(task, table_rows, defect)) for defect in defects]
        found.append(finding("gw_machine", method, claim, _outcome(table_rows, folder), missed))
    return found


def _outcome(rows_of: _RowsOf, folder: Path) -> Outcome:
    try:
        rows = rows_of(folder)
    except (UnsupportedC, LookupError) as error:
        return Outcome(Verdict.UNFINISHED, str(error), {})
    figures = {"ranges": len(rows)}
    left = [row for row in rows if not row.kept]
    if left:
        return Outcome(Verdict.UNFINISHED, f"may be left: {_texts(left)}", figures)
    return Outcome(Verdict.PROVED, f"{len(rows)} ranges are kept", figures)


def _texts(rows: Sequence[RangeRow]) -> str:
    return "; ".join(
        f"{row.place} {row.expression} is {row.derived[0]} to {row.derived[1]}, allowed "
        f"{row.allowed[0]} to {row.allowed[1]} ({row.kind})"
        for row in rows
    )


def _missed(task: Task, rows_of: _RowsOf, defect: Defect) -> str | None:
    try:
        rows = rows_of(task.workspace.with_defects((defect,)))
    except (UnsupportedC, LookupError) as error:
        return str(error)
    return None if any(not row.kept for row in rows) else "every range is kept"
