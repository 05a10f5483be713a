"""The rig's own C: no warning, no undefined behaviour in a whole rehearsal, any compiler alike."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.axis_c.machine import machine_tables
from gainwright_codegen.axis_c.text import machine_sources
from gainwright_codegen.host import compile_shared, read_sources
from gainwright_codegen.host.cache import cache_directory
from gainwright_codegen.sources import runtime_sources, trial_sources
from gainwright_sim.benchmark import bare_loop
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rig import library
from gainwright_sim.rig.axis import axis_data
from gainwright_sim.rig.log import RigLog

from ..shared.compilers import SANITIZED, available, compiler_parameters

TRIAL = load_trial(shipped_trial_path())
HOIST = load_machine("door-hoist")
STRICT = ("-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Wshadow", "-Werror")


def run() -> RigLog:
    rig = Bench(TRIAL, HOIST).rig(seed=3, longest_s=120.0, log_control=True)
    rig.advance(10**6)
    assert rig.resting
    return rig.log()


@pytest.fixture(scope="module")
def expected() -> RigLog:
    return run()


@pytest.mark.parametrize("compiler", compiler_parameters("gcc", "clang", "zig", slow=("clang",)))
def test_rig_compiles_without_a_warning(monkeypatch, tmp_path, compiler):
    zig_cache = str(cache_directory() / "zig")  # its own standard library takes long to build
    monkeypatch.setenv("ZIG_GLOBAL_CACHE_DIR", zig_cache)
    monkeypatch.setenv("ZIG_LOCAL_CACHE_DIR", zig_cache)
    monkeypatch.setenv("GAINWRIGHT_CC", compiler)
    monkeypatch.setenv("GAINWRIGHT_CACHE_DIR", str(tmp_path))
    sources = runtime_sources() | trial_sources(TRIAL)
    sources |= machine_sources(machine_tables(TRIAL, axis_data(HOIST)))
    sources |= library.rig_sources()
    sources |= read_sources(Path(bare_loop.__file__).parent, "*.[ch]")
    compile_shared(sources, STRICT, name="rig")


@pytest.mark.slow
def test_whole_rehearsal_without_undefined_behaviour(monkeypatch, tmp_path, expected):
    """The sanitizer ends the process at the first one; the record is the same with it."""
    if not available("gcc"):
        pytest.skip("gcc is not installed: what clang sanitizes does not load into Python")
    monkeypatch.setenv("GAINWRIGHT_CC", "gcc")
    monkeypatch.setenv("GAINWRIGHT_CACHE_DIR", str(tmp_path))
    monkeypatch.setattr(library, "FLAGS", (*library.FLAGS, *SANITIZED))
    assert_same_record(run(), expected)


@pytest.mark.parametrize("compiler", compiler_parameters("clang", "zig", slow=("clang",)))
def test_other_compilers_give_the_same_record(monkeypatch, compiler, expected):
    monkeypatch.setenv("GAINWRIGHT_CC", compiler)
    assert_same_record(run(), expected)


def assert_same_record(log: RigLog, expected: RigLog) -> None:
    for field in dataclasses.fields(RigLog):
        np.testing.assert_array_equal(
            getattr(log, field.name), getattr(expected, field.name), field.name
        )
