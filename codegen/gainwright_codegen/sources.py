"""Which C files make up what: the static runtime, and what is generated from a trial."""

from __future__ import annotations

from pathlib import Path

from gainwright.spec.model import Trial
from gainwright_codegen.build import read_sources
from gainwright_codegen.identifiers import check_exportable
from gainwright_codegen.trial_header import trial_header
from gainwright_codegen.trial_source import trial_source

RUNTIME_DIRECTORY = Path(__file__).parent / "runtime"
SEQUENCER_FILES = ("gw_fixed.h", "gw_select.h", "gw_table.h", "gw_sequencer.h", "gw_sequencer.c")
"""Static files that a trial without a machine needs."""


def runtime_sources() -> dict[str, bytes]:
    """Return every static C file by its name."""
    return read_sources(RUNTIME_DIRECTORY, "*.h", "*.c")


def trial_sources(trial: Trial) -> dict[str, bytes]:
    """Return the files generated from a trial.

    Raises:
        InputError: the trial has names or sizes that C can not hold.
    """
    check_exportable(trial)
    return {
        "gw_trial.h": trial_header(trial).encode("ascii"),
        "gw_trial.c": trial_source(trial).encode("ascii"),
    }


def sequencer_sources(trial: Trial) -> dict[str, bytes]:
    """Return the static and generated files that the sequencer of a trial needs."""
    runtime = runtime_sources()
    return {name: runtime[name] for name in SEQUENCER_FILES} | trial_sources(trial)
