"""The export of the standard trial for the kiln shuttle, made once in a process of tests."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.axis_c.machine import machine_tables
from gainwright_codegen.axis_c.text import machine_sources
from gainwright_codegen.bundle.axis import axis_bundle, write_bundle
from gainwright_codegen.bundle.bundle import Bundle
from gainwright_codegen.sources import trial_sources
from gainwright_sim.machine import load_machine
from gainwright_sim.rig.axis import axis_data

MACHINE = "kiln-shuttle"


@cache
def standard_bundle() -> Bundle:
    return axis_bundle(load_trial(shipped_trial_path()), axis_data(load_machine(MACHINE)))


def digest_of_tables() -> str:
    """Return the digest of what is written for the trial and the machine, without a self-test."""
    trial = load_trial(shipped_trial_path())
    tables = machine_tables(trial, axis_data(load_machine(MACHINE)))
    files = trial_sources(trial) | machine_sources(tables)
    return hashlib.sha256(b"".join(files[name] for name in sorted(files))).hexdigest()


def write_standard_bundle(folder: Path) -> Path:
    """Write the export to a new folder, and return the folder."""
    write_bundle(standard_bundle(), folder)
    return folder
