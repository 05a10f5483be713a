"""The export of the standard trial for the kiln shuttle, made once in a process of tests."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.bundle.axis import axis_bundle, write_bundle
from gainwright_codegen.bundle.bundle import Bundle
from gainwright_sim.machine import load_machine
from gainwright_sim.rig.axis import axis_data

MACHINE = "kiln-shuttle"


@cache
def standard_bundle() -> Bundle:
    return axis_bundle(load_trial(shipped_trial_path()), axis_data(load_machine(MACHINE)))


def write_standard_bundle(folder: Path) -> Path:
    """Write the export to a new folder, and return the folder."""
    write_bundle(standard_bundle(), folder)
    return folder
