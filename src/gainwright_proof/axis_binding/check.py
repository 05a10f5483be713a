"""Runs gw_axis beside the model: through every row that the search found, and on random signals.

A test, not a proof: the sequencer inside is proved, and the runs from reset to every reachable row
show that the axis passes inputs, levels, outputs, pulses and gains on as the model says. Not
covered: what the axis does after its memory was damaged or ticks came at another rate (tests of
the exported C do that), two priorities at once, and tables of machines other than the probe's.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from gainwright.detector.evidence import FINDINGS, Hearing, ReferenceEvidence
from gainwright.detector.reference import ReferenceDetector
from gainwright.errors import InputError
from gainwright.language.model import Trial
from gainwright_codegen.axis_c.machine import machine_tables
from gainwright_codegen.axis_c.tables import StageTables, axis_tables
from gainwright_codegen.axis_c.text import machine_sources
from gainwright_codegen.host import compile_and_load, read_sources
from gainwright_proof.axis_binding.probe import (
    CONTROL_TICKS,
    HEARING_OUTPUT,
    lockstep_tables,
    probe_axis,
    probe_trial,
)
from gainwright_proof.exploration.run_file import HeldInputs, Run
from gainwright_proof.exploration.subjects import AXIS_BINDING
from gainwright_proof.methods import LOCKSTEP
from gainwright_proof.verdict import Finding, Verdict

SEED = 20_260_802
_RANDOM_TICKS = 3_000
_EXACT_TICKS = 60
"""Sequencer ticks of random signals under which the findings are compared exactly ..."""
_SAME_HEIGHT = 20
"""Control ticks, half of the shortest block, after which signals have another height, as they have
when something else is heard: of blocks that follow each other now the one is louder, now the other,
the first two of an answer too."""
_LOUDEST = {hearing: (16, 16) for hearing in Hearing} | {Hearing.RINGING: (18, 23)}
"""Binary logarithm of the greatest torque and speed error: answers rise above all thresholds, noise
does not end the run."""
_WAIT_TICKS = 3_000
"""... once the trial has begun to listen, which it does within so many ticks of a run."""
_WRONG = {
    1: "the row is not the one that the step takes on these inputs",
    2: "state or variables are not those of the step",
    3: "an output is not that of the new state",
    4: "an input of the drive was changed on the way to the table",
    5: "the test pulse is not the one asked for, or not when it was asked for",
    6: "the gain is not that of the rung",
}


class _Different(Exception):
    """Axis and model differ; the text says where."""


def check_axis(trial: Trial, exported: Mapping[str, bytes], runs: Sequence[Run]) -> list[Finding]:
    """Return the finding about the binding.

    Args:
        trial: the trial.
        exported: the C of runtime and trial.
        runs: from reset, together through every row that can be reached.
    """
    try:
        lockstep = _Lockstep(trial, exported)
    except (InputError, ValueError) as error:
        text = f"No axis to try it on: {error}"
        return [Finding(AXIS_BINDING, LOCKSTEP, Verdict.UNFINISHED, text)]
    try:
        for run in runs:
            lockstep.follow(run.segments)
        lockstep.at_random()
        lockstep.exact_findings(runs)
    except _Different as error:
        return [Finding(AXIS_BINDING, LOCKSTEP, Verdict.REFUTED, str(error))]
    rows = lockstep.rows_taken
    return [
        Finding(
            AXIS_BINDING,
            LOCKSTEP,
            Verdict.TESTED,
            f"gw_axis_sequencer_tick and gw_axis_control_tick did as the model in "
            f"{lockstep.ticks:,} sequencer ticks of {CONTROL_TICKS} control ticks each, through "
            f"{rows} of {len(trial.rows)} rows (seed {SEED}): what the detector finds, pulse on "
            "the rising edge, gains, outputs. Not covered: damaged memory, ticks at another rate, "
            "two priorities at once.",
            figures={"ticks": lockstep.ticks, "rows": rows},
        )
    ]


class _Lockstep:
    def __init__(self, trial: Trial, exported: Mapping[str, bytes]) -> None:
        self._trial = trial
        axis, probed = probe_axis(trial), probe_trial(trial)
        self._stages: Sequence[StageTables] = axis_tables(probed, axis)
        machine = machine_tables(probed, axis)
        self._ffi, self._library = compile_and_load(
            {
                **exported,
                **machine_sources(machine),
                "lockstep_tables.h": lockstep_tables(trial, machine.object, self._stages),
                **read_sources(Path(__file__).parent, "lockstep.[ch]"),
            },
            ("lockstep.h",),
            name="lockstep",
        )
        self._names = [signal.name for signal in trial.inputs]
        self.ticks = 0

    @property
    def rows_taken(self) -> int:
        return int(self._library.gl_rows_taken())

    def follow(self, segments: Sequence[HeldInputs]) -> None:
        """Go a run from reset; what the detector finds is put in as the run has it."""
        self._library.gl_reset()
        counted = self._ffi.new("uint32_t[1]")
        for segment in segments:
            code = self._library.gl_hold(segment.ticks, self._vector(segment.inputs), counted)
            self.ticks += segment.ticks
            if code:
                raise _Different(f"After {counted[0]:,} sequencer ticks {_WRONG[code]}.")

    def _vector(self, inputs: Mapping[str, int]) -> Any:
        return self._ffi.new("int32_t[]", [inputs[name] for name in self._names] or [0])

    def at_random(self) -> None:
        """Hold random inputs, in and out of range, for a few ticks each."""
        source = random.Random(SEED)
        self.follow([HeldInputs(source.randint(1, 3), inputs) for inputs in self._drawn(source)])

    def _drawn(self, source: random.Random) -> Iterator[dict[str, int]]:
        for _ in range(_RANDOM_TICKS // 2):
            inputs = {s.name: source.randint(s.low, s.high) for s in self._trial.inputs}
            if inputs:
                name = source.choice(self._names)
                inputs[name] = source.randint(-(1 << 31), (1 << 31) - 1)
            yield inputs

    def exact_findings(self, runs: Sequence[Run]) -> None:
        """Compare findings with the reference, word for word, on runs that come to listen."""
        if not self._stages or not set(FINDINGS) & set(self._names):
            return
        longest = sorted(runs, key=lambda run: sum(s.ticks for s in run.segments))[-3:]
        for number, run in enumerate(longest):
            exact = _Exact(self._library, self._trial, self._stages[0], SEED + number)
            self._library.gl_reset()
            for segment in run.segments:
                for _ in range(min(segment.ticks, _WAIT_TICKS)):
                    if exact.ticks >= _EXACT_TICKS:
                        break
                    exact.tick(self._vector(segment.inputs))
            self.ticks += exact.ticks


class _Exact:
    """Real signals into the axis, and the reference beside it from the first listening on."""

    def __init__(self, library: Any, trial: Trial, stage: StageTables, seed: int) -> None:
        self._library, self._trial = library, trial
        self._source = random.Random(seed)
        self._detector = ReferenceDetector(stage.detector)
        swing, steps = stage.detector.swing_level, stage.detector.steps_level
        self._evidence = ReferenceEvidence(swing_level=swing, steps_level=steps)
        self._rung_output = trial.index.outputs[stage.stage.rung]
        self._hearing, self._rung = Hearing.NOTHING, self._output(self._rung_output)
        self.ticks = 0
        """Of real signals."""

    def tick(self, drive_inputs: Any) -> None:
        """Control ticks, silent until somebody listens, and one sequencer tick."""
        hearing, rung = Hearing(self._wanted()), self._output(self._rung_output)
        self.ticks += bool(self.ticks or hearing is not Hearing.NOTHING)
        heights = self._heights()
        for number in range(CONTROL_TICKS):
            if number % _SAME_HEIGHT == 0:
                heights = self._heights()
            # Of silence the reference hears nothing but blocks, and those begin anew with the
            # first listening.
            sample = [self._source.randint(-h, h) for h in heights] if self.ticks else [0, 0]
            self._axis_control_tick(*sample)
            # In a control tick in which a block ends no order is taken.
            if self._library.gl_order_is_taken() and self._take_order(hearing, rung):
                heights = self._heights()
            if self.ticks:
                self._hear(*sample)
        expected = self._evidence.findings()
        if code := self._library.gl_sequencer_tick(drive_inputs, 0):
            raise _Different(f"After {self.ticks} sequencer ticks of signals {_WRONG[code]}.")
        self._compare(expected)

    def _heights(self) -> list[int]:
        return [1 << self._source.randint(6, h) for h in _LOUDEST[self._hearing]]

    def _take_order(self, hearing: Hearing, rung: int) -> bool:
        """Begin what was ordered; return whether something else is heard from now on."""
        changed = hearing is not self._hearing
        if changed:
            self._detector.restart_blocks()
            self._evidence.hear(hearing)
        if rung != self._rung:
            self._evidence.new_gain(lower=rung < self._rung)
        self._hearing, self._rung = hearing, rung
        return changed

    def _hear(self, torque: int, speed: int) -> None:
        ring_ended, burst_ended = self._detector.sample(torque, speed)
        if ring_ended:
            self._evidence.ring_block(self._detector.ring.level)
        if burst_ended:
            self._evidence.burst_block(self._detector.burst.level)

    def _axis_control_tick(self, torque: int, speed: int) -> None:
        if not self._library.gl_control_tick(torque, speed):
            raise _Different(f"After {self.ticks} sequencer ticks of signals {_WRONG[5]}.")

    def _compare(self, expected: Mapping[str, int]) -> None:
        for name, number in self._trial.index.inputs.items():
            if name in expected and self._library.gl_input(number) != expected[name]:
                raise _Different(
                    f"After {self.ticks} sequencer ticks of random signals {name} is "
                    f"{self._library.gl_input(number)}, by the reference {expected[name]}."
                )

    def _wanted(self) -> int:
        number = self._trial.index.outputs.get(HEARING_OUTPUT)
        return 0 if number is None else self._output(number)

    def _output(self, number: int) -> int:
        return int(self._library.gl_output(number))
