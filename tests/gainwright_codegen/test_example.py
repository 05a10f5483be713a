"""The example of a bundle plays each shipped trial to a result, at any control tick."""

from __future__ import annotations

import dataclasses
import re
import subprocess

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.axis_c.machine import machine_tables
from gainwright_codegen.axis_c.text import machine_sources
from gainwright_codegen.bundle.axis import axis_bundle
from gainwright_codegen.bundle.bundle import Bundle
from gainwright_codegen.bundle.example_c import EXAMPLE_FILE, example_source
from gainwright_codegen.host import compile_program
from gainwright_codegen.sources import runtime_sources, trial_sources
from gainwright_sim.machine import Machine, load_machine
from gainwright_sim.rig.axis import axis_data

pytestmark = pytest.mark.usefixtures("scratch_cache")


def at(machine: Machine, control_tick_s: float) -> Machine:
    """Return the machine with another control tick."""
    drive = dataclasses.replace(machine.drive, control_tick_s=control_tick_s)
    return dataclasses.replace(machine, drive=drive)


@pytest.mark.parametrize(
    ("name", "machine", "control_tick_s"),
    [
        ("standard", "kiln-shuttle", 1e-3),
        pytest.param("standard", "kiln-shuttle", 62.5e-6, marks=pytest.mark.slow),
        pytest.param("gentle", "door-hoist", 125e-6, marks=pytest.mark.slow),
        ("complete", "glaze-gantry", 125e-6),
        pytest.param("loadside", "kiln-shuttle", 125e-6, marks=pytest.mark.slow),
    ],
)
def test_ends_with_a_result(name, machine, control_tick_s):
    trial = load_trial(shipped_trial_path(name))
    tables = machine_tables(trial, axis_data(at(load_machine(machine), control_tick_s)))
    sources = runtime_sources() | trial_sources(trial) | machine_sources(tables)
    sources[EXAMPLE_FILE] = example_source(trial, tables, [], "").encode("ascii")
    flags = ("-O2", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-DGW_EXAMPLE_MAIN")
    done = subprocess.run(
        [compile_program(sources, flags, "example")], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout
    (reason,) = re.findall(r"end reason (\d+), fault 0\n", done.stdout)
    (reasons,) = (e for e in trial.enumerations if e.name == "end_reasons")
    ended = reasons.values[int(reason)].name
    assert ended.startswith("below_"), ended
    assert done.stdout.count("gain of stage") == len(trial.stages)


def failures(bundle: Bundle) -> str:
    """Run a self-test; return what it prints of failures."""
    sources = {n: c for n, c in bundle.files.items() if n.endswith((".c", ".h"))}
    del sources[EXAMPLE_FILE]
    done = subprocess.run(
        [compile_program(sources, ("-O1",), "selftest")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return done.stdout


@pytest.mark.slow
def test_self_test_passes_with_one_control_tick_to_a_sequencer_tick():
    """Orders follow each other faster than they are taken: a pulse stays ordered meanwhile."""
    axis = axis_data(at(load_machine("kiln-shuttle"), 1e-3))
    assert failures(axis_bundle(load_trial(shipped_trial_path()), axis)).startswith("PASS")
