"""Whole rehearsals, bit for bit: the exported C in the rig against its Python references."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from gainwright.detector.evidence import FINDINGS, Hearing, ReferenceEvidence
from gainwright.detector.reference import ReferenceDetector
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright.semantics.machine import ReferenceMachine
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import Rehearsal, rehearse
from gainwright_sim.rig.log import RigLog
from gainwright_sim.rig.run import Override
from gainwright_sim.theory import sample_axis

TRIAL = load_trial(shipped_trial_path())
SEED = 20


@pytest.fixture(
    scope="module", params=["kiln-shuttle", pytest.param("door-hoist", marks=pytest.mark.slow)]
)
def rehearsal(request) -> Rehearsal:
    result = rehearse(Bench(TRIAL, load_machine(request.param)), SEED, log_control=True)
    assert result.ended and not result.violations
    return result


def test_sequencer_is_the_reference_machine_on_every_tick(rehearsal):
    assert_same_as_reference(rehearsal)
    assert TRIAL.states[rehearsal.log.state[-1]].name == "finished"


def test_sequencer_is_the_reference_machine_when_things_go_wrong():
    bench = Bench(TRIAL, load_machine("door-hoist"))
    for override, end in (
        (Override(4000, 4200, "run_permit", 0), "aborted"),
        (Override(6000, 6001, "feedback_valid", 0), "fault"),
        (Override(7000, 7300, "torque_saturated", 1), "aborted"),
    ):
        rehearsal = rehearse(bench, SEED, overrides=[override])
        assert_same_as_reference(rehearsal)
        assert TRIAL.states[rehearsal.log.state[-1]].name == end


def assert_same_as_reference(rehearsal: Rehearsal) -> None:
    trial, log = rehearsal.trial, rehearsal.log
    reference = ReferenceMachine(trial)
    states = {state.name: k for k, state in enumerate(trial.states)}
    rows = {row.id: k for k, row in enumerate(trial.rows)}
    names = [signal.name for signal in trial.inputs]
    lines = []
    for values in log.inputs.tolist():
        row = reference.tick(dict(zip(names, values, strict=True)))
        lines.append(
            (
                states[reference.state],
                rows[row.id],
                *reference.variables.values(),
                *reference.outputs().values(),
            )
        )
    recorded = np.column_stack((log.state, log.row, log.variables, log.outputs))
    np.testing.assert_array_equal(recorded, lines)


def test_findings_are_those_of_the_reference_on_every_tick(rehearsal):
    """A sequencer tick sees what the control ticks before it left: 8 of them, 125 us each."""
    settings = rehearsal.tables[0].detector
    detector = ReferenceDetector(settings)
    evidence = ReferenceEvidence(swing_level=settings.swing_level, steps_level=settings.steps_level)
    hearings, rungs = rehearsal.output("hearing"), rehearsal.output("speed_gain_rung")
    asked = [name for name in FINDINGS if name in rehearsal.trial.index.inputs]
    seen = {name: rehearsal.input(name) for name in asked}
    control, before = rehearsal.log.control.reshape(len(hearings), -1, 2), (Hearing.NOTHING, 0)
    for tick, samples in enumerate(control.tolist()[:-1]):
        order = (Hearing(hearings[tick]), rungs[tick])
        if order[0] is not before[0]:
            detector.restart_blocks()
            evidence.hear(order[0])
        if order[1] != before[1]:
            evidence.new_gain(lower=bool(order[1] < before[1]))
        before = order
        for torque, speed_error in samples:
            ring_ended, burst_ended = detector.sample(torque, speed_error)
            if ring_ended:
                evidence.ring_block(detector.ring.level)
            if burst_ended:
                evidence.burst_block(detector.burst.level)
        expected = evidence.findings()
        assert all(int(seen[name][tick + 1]) == expected[name] for name in asked), tick
    assert seen["response_level"].max() > 256 and seen["burst_level"].max() > 256


def digest(log: RigLog) -> str:
    parts = (log.state, log.row, log.inputs, log.variables, log.outputs, log.signals, log.control)
    return hashlib.sha256(b"".join(part.tobytes() for part in parts)).hexdigest()


def test_mounted_machine_leaves_the_same_bytes_as_a_bench_of_its_own():
    """Tables written into a compiled rig do what tables compiled into it do."""
    machines = [load_machine("grinder-slide"), load_machine("door-hoist"), sample_axis(3)]
    shared = Bench(TRIAL, machines[-1], changeable=True)
    for machine in machines:
        shared.mount(machine)
        own = Bench(TRIAL, machine)
        logs = [rehearse(bench, SEED, log_control=True).log for bench in (shared, own)]
        assert digest(logs[0]) == digest(logs[1]), machine.name


def test_mounting_needs_a_changeable_bench():
    bench = Bench(TRIAL, load_machine("grinder-slide"))
    with pytest.raises(ValueError, match="compiled for one machine only"):
        bench.mount(load_machine("door-hoist"))


def test_seed_decides_every_byte():
    bench = Bench(TRIAL, load_machine("grinder-slide"))
    digests = [digest(rehearse(bench, seed, log_control=True).log) for seed in (5, 5, 6, 2**64 - 1)]
    assert digests[0] == digests[1]
    assert len(set(digests)) == 3


def test_slices_do_not_matter():
    """A run advanced tick by tick is the run advanced in one go."""
    bench = Bench(TRIAL, load_machine("grinder-slide"))
    logs = []
    for step in (1, 7, 10**6):
        rig = bench.rig(SEED, longest_s=2.0, log_control=True)
        while not rig.ended:
            rig.advance(step)
        logs.append(digest(rig.log()))
    assert logs[0] == logs[1] == logs[2]
