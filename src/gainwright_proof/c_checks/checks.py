"""Runs every method on the exported C, in parallel."""

from __future__ import annotations

import os
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor

from gainwright.language.model import Trial
from gainwright_proof.c_checks.frama_c import abstract_interpretation
from gainwright_proof.c_checks.model_checking import model_checking
from gainwright_proof.c_checks.report import SUBJECT, Method, Task
from gainwright_proof.c_checks.sanitized_runs import sanitized_runs
from gainwright_proof.c_checks.structures import UnsupportedC
from gainwright_proof.c_checks.workspace import workspace
from gainwright_proof.methods import READING_C
from gainwright_proof.verdict import Finding, Verdict

METHODS: tuple[Method, ...] = (model_checking, abstract_interpretation, sanitized_runs)
LIMIT_S = 600.0
"""Processor time of one run, which takes some 10 s at most. The tools count no steps."""


def check_sources(
    trial: Trial,
    exported_sources: Mapping[str, bytes],
    limit_s: float = LIMIT_S,
    seed: int = 1,
    processes: int | None = None,
) -> list[Finding]:
    """Check the exported C source for undefined behaviour by every method that is installed.

    Args:
        trial: what was exported.
        exported_sources: content of the exported files by name; without ``gw_machine.c`` only the
            sequencer is checked. Files other than C are left out.
        limit_s: processor time of one run of a tool; what reaches it is unfinished.
        seed: of the random runs.
        processes: how many tools run at once; all processors unless given.

    Returns:
        Findings in a fixed order. Their subjects begin with ``c_source/``; a method whose tool is
        missing gives findings that say so. A finding is proved only if the method also noticed
        the defects that were inserted in copies of the source.

    Raises:
        InputError: there is no C compiler for preprocessing.
    """
    try:
        with (
            workspace(exported_sources, trial) as folder,
            ThreadPoolExecutor(processes or os.cpu_count() or 1) as pool,
        ):
            task = Task(folder, trial, limit_s, seed)
            waits = [method(pool, task) for method in METHODS]
            return [found for wait in waits for found in wait()]
    except (UnsupportedC, LookupError) as error:
        detail = f"the exported headers cannot be read: {error}."
        return [Finding(f"{SUBJECT}/headers", READING_C, Verdict.UNFINISHED, detail)]
