"""Several axes of several machines in one firmware: none knows of the others."""

from __future__ import annotations

import subprocess

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.axis_c.machine import machine_tables
from gainwright_codegen.axis_c.text import machine_sources
from gainwright_codegen.host import compile_program
from gainwright_codegen.sources import runtime_sources, trial_sources
from gainwright_sim.machine import load_machine
from gainwright_sim.rig.axis import axis_data

from ..shared.compilers import SANITIZED, compiler_parameters

MACHINES = ("kiln-shuttle", "grinder-slide")
PROGRAM = """\
#include <stdio.h>
#include <string.h>
#include "gw_machine_kiln_shuttle.h"
#include "gw_machine_grinder_slide.h"

typedef struct { gw_axis axis; uint32_t word; uint32_t sum; } drive;

static void run(drive *d)
{
    int32_t inputs[GW_INPUT_SLOTS] = {0};
    int32_t k;

    for (k = 0; k < d->axis.machine->control_ticks; k++) {
        d->word = d->word * 1664525U + 1013904223U;
        d->sum = d->sum * 31U + (uint32_t)gw_axis_control_tick(
            &d->axis, (int32_t)(d->word >> 6), (int32_t)(d->word >> 12));
    }
    inputs[GW_INPUT_RUN_PERMIT] = inputs[GW_INPUT_DRIVE_READY] = 1;
    inputs[GW_INPUT_FEEDBACK_VALID] = inputs[GW_INPUT_INSIDE_TRAVEL_WINDOW] = 1;
    inputs[GW_INPUT_STANDSTILL] = 1;
    inputs[GW_INPUT_START_REQUEST] = (int32_t)(d->word >> 31);
    d->sum = d->sum * 31U + (uint32_t)gw_axis_sequencer_tick(&d->axis, inputs);
    d->sum = d->sum * 31U + (uint32_t)gw_axis_gain(&d->axis, 0);
}

int main(int count, char **words)
{
    static const gw_machine *const machines[2]
        = {&gw_machine_kiln_shuttle, &gw_machine_grinder_slide};
    drive drives[4]; /* two of each machine */
    int tick;
    int k;

    memset(drives, 0x5A, sizeof drives);
    for (k = 0; k < 4; k++) {
        gw_axis_init(&drives[k].axis, machines[k % 2]);
        drives[k].word = (uint32_t)k;
        drives[k].sum = 0U;
    }
    for (tick = 0; tick < 3000; tick++) {
        for (k = 0; k < 4; k++) {
            if ((count == 1) || (words[1][0] == '0' + k)) {
                run(&drives[k]);
            }
        }
    }
    for (k = 0; k < 4; k++) {
        printf("%lu %s %ld\\n", (unsigned long)drives[k].sum, drives[k].axis.machine->name,
               (long)drives[k].axis.fault);
    }
    return 0;
}
"""


@pytest.mark.usefixtures("scratch_cache")
@pytest.mark.parametrize("command", compiler_parameters("gcc"))
def test_four_axes_of_two_machines_run_as_each_alone(monkeypatch, command):
    monkeypatch.setenv("GAINWRIGHT_CC", command)
    trial = load_trial(shipped_trial_path())
    sources = runtime_sources() | trial_sources(trial) | {"program.c": PROGRAM.encode()}
    for name in MACHINES:
        sources |= machine_sources(machine_tables(trial, axis_data(load_machine(name))))
    program = compile_program(sources, ("-Wall", "-Wextra", "-Werror", *SANITIZED), "instances")

    def lines(*words: str) -> list[str]:
        done = subprocess.run([program, *words], capture_output=True, text=True, check=True)
        return done.stdout.splitlines()

    together = lines()
    alone = [lines(str(k))[k] for k in range(4)]
    assert together == alone
    assert len(set(together)) == 4
    assert [line.split()[1] for line in together] == [*MACHINES, *MACHINES]
    assert all(line.endswith(" 0") for line in together)
