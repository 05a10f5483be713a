"""The C of the standard trial for one machine, as the checks of the C source get it."""

from __future__ import annotations

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.axis_c.machine import machine_tables
from gainwright_codegen.axis_c.text import machine_sources
from gainwright_codegen.sources import runtime_sources, trial_sources
from gainwright_sim.machine import load_machine
from gainwright_sim.rig.axis import axis_data

TRIAL = load_trial(shipped_trial_path())


def exported(machine: str) -> dict[str, bytes]:
    """Return runtime, trial and machine sources by file name."""
    tables = machine_tables(TRIAL, axis_data(load_machine(machine)))
    return runtime_sources() | trial_sources(TRIAL) | machine_sources(tables)
