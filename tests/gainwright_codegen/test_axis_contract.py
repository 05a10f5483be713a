"""What ``gw_axis`` does when firmware calls it wrongly or its memory is damaged.

A rehearsal is recorded, inputs and signals of every tick, and played again to the exported C by a
program that leaves ticks out, flips bits, or goes on after an error.
"""

from __future__ import annotations

import re
import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.axis_c.machine import machine_tables
from gainwright_codegen.axis_c.text import machine_sources
from gainwright_codegen.host import compile_program
from gainwright_codegen.sources import runtime_sources, trial_sources
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rig.axis import axis_data

from ..shared.compilers import SANITIZED, available

PROGRAM = Path(__file__).with_name("axis_contract.c")
TICKS = 8000
BAD_RATE, BAD_MEMORY = -4, -3
pytestmark = [
    pytest.mark.usefixtures("scratch_cache"),
    pytest.mark.skipif(not available("gcc"), reason="gcc is not installed"),
]
TRIAL = load_trial(shipped_trial_path())


def write_record(machine: str, path: Path) -> None:
    rig = Bench(TRIAL, load_machine(machine), changeable=True).rig(
        7, log_control=True, exact_ticks=TICKS
    )
    assert rig.advance(TICKS) == TICKS
    log = rig.log()
    control = log.control.reshape(TICKS, -1)
    words = np.hstack((log.inputs, control)).astype("<i4")
    path.write_bytes(np.int32(TICKS).tobytes() + words.tobytes())


@pytest.fixture(
    scope="module", params=["kiln-shuttle", pytest.param("grinder-slide", marks=pytest.mark.slow)]
)
def contract(request, scratch_cache, tmp_path_factory):
    """Return a function that plays the record in one way and returns what the program says."""
    folder = tmp_path_factory.mktemp("contract")
    tables = machine_tables(TRIAL, axis_data(load_machine(request.param)))
    sources = runtime_sources() | trial_sources(TRIAL) | machine_sources(tables)
    sources[PROGRAM.name] = PROGRAM.read_bytes()
    write_record(request.param, folder / "record")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("GAINWRIGHT_CC", "gcc")
        flags = ("-O1", f"-DMACHINE={tables.object}", "-fsanitize=address", *SANITIZED)
        program = compile_program(sources, flags, "contract")

    def play(what: str) -> str:
        command = [program, what, str(folder / "record")]
        result = subprocess.run(command, capture_output=True, text=True, check=False)
        assert result.returncode == 0, result.stdout + result.stderr
        return result.stdout.strip()

    return play


@pytest.mark.parametrize("way", ["right", "fifth_more", "fifth_less", "jitter"])
def test_ticks_inside_the_tolerance_never_latch(contract, way):
    assert contract(way) == "never latched"


@pytest.mark.parametrize(
    ("way", "latest"),
    [("none", 8), ("eighth", 8), ("tenfold", 2), ("two_thirds", 8), ("four_thirds", 8)],
)
def test_a_wrong_rate_latches_within_a_block(contract, way, latest):
    code, tick = re.fullmatch(r"latched (-\d+) after (\d+)", contract(way)).groups()
    assert int(code) == BAD_RATE
    assert int(tick) <= latest


def test_control_ticks_that_cease_later_are_noticed_too(contract):
    code, tick = re.fullmatch(r"latched (-\d+) after (\d+)", contract("ends")).groups()
    assert int(code) == BAD_RATE
    assert TICKS // 2 < int(tick) <= TICKS // 2 + 16


def test_an_error_latches_until_the_reset(contract):
    assert contract("latch") == "latched"


def test_flipped_bits_are_noticed_or_do_no_harm(contract):
    """Noticed at once in all that one sequencer tick leaves to the next; elsewhere, as in a
    filter, no torque beyond the pulse, no access out of bounds, and no deaf detector."""
    pattern = r"flips (\d+) of (\d+) bits, (\d+) guarded, (\d+) faults, (\d+) pulses"
    said = re.fullmatch(pattern, contract("flips"))
    ticks, _, guarded, faults, pulses = map(int, said.groups())
    assert ticks >= 8 and pulses == 3, said[0]
    # A word each for state, order, its height, rate with fault, and checksum; the pointer twice.
    fields = 5 * 32 + 2 * 8 * struct.calcsize("P") + 16 * len(TRIAL.variables)
    assert guarded == fields and faults >= ticks * guarded, said[0]
