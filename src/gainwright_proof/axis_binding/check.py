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

from gainwright.detector.reference import ReferenceDetector
from gainwright.errors import InputError
from gainwright.language.model import Trial
from gainwright_codegen.axis_c.machine import machine_tables
from gainwright_codegen.axis_c.tables import StageTables, axis_tables
from gainwright_codegen.axis_c.text import machine_sources
from gainwright_codegen.host import compile_shared, load_library
from gainwright_proof.axis_binding.probe import (
    BURST_INPUT,
    CONTROL_TICKS,
    RING_INPUT,
    lockstep_tables,
    probe_axis,
    probe_trial,
)
from gainwright_proof.exploration.run_file import HeldInputs, Run
from gainwright_proof.exploration.subjects import AXIS_BINDING
from gainwright_proof.verdict import Finding, Verdict

METHOD = "lockstep of gw_axis with a model"
SEED = 20_260_802
_RANDOM_TICKS = 3_000
_EXACT_TICKS = 24
"""Sequencer ticks of random signals under which the levels are compared exactly."""
_LEVEL_ONE, _LEVEL_MAX = 256, 65_535
_WRONG = {
    1: "the row is not the one that the step takes on these inputs",
    2: "state or variables are not those of the step",
    3: "an output is not that of the new state",
    4: "an input of the drive was changed on the way to the table",
    5: f"{RING_INPUT} does not follow the speed error",
    6: f"{BURST_INPUT} does not follow the torque command",
    7: "the test pulse is not the one asked for, or not when it was asked for",
    8: "the gain is not that of the rung",
}
_CDEF = """
void gl_reset(void);
int32_t gl_control_tick(int32_t torque_command, int32_t speed_error);
int32_t gl_sequencer_tick(const int32_t drive_inputs[]);
int32_t gl_hold(uint32_t count, const int32_t drive_inputs[], int32_t speed_loud,
                int32_t torque_loud, uint32_t ticks[]);
int32_t gl_input(int32_t number);
uint32_t gl_rows_taken(void);
"""


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
        return [Finding(AXIS_BINDING, METHOD, Verdict.UNFINISHED, text)]
    try:
        for run in runs:
            lockstep.follow(run.segments)
        lockstep.at_random()
        lockstep.exact_levels()
    except _Different as error:
        return [Finding(AXIS_BINDING, METHOD, Verdict.REFUTED, str(error))]
    rows = lockstep.rows_taken
    return [
        Finding(
            AXIS_BINDING,
            METHOD,
            Verdict.TESTED,
            f"gw_axis_sequencer_tick and gw_axis_control_tick did as the model in "
            f"{lockstep.ticks:,} sequencer ticks of {CONTROL_TICKS} control ticks each, through "
            f"{rows} of {len(trial.rows)} rows (seed {SEED}): levels from their signals, pulse on "
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
        library = compile_shared(
            {
                **exported,
                **machine_sources(machine_tables(probed, axis)),
                "lockstep_tables.h": lockstep_tables(trial, axis, self._stages),
                "lockstep.c": (Path(__file__).parent / "lockstep.c").read_bytes(),
            },
            name="lockstep",
        )
        self._ffi, self._library = load_library(library, _CDEF)
        self._names = [signal.name for signal in trial.inputs]
        self.ticks = 0

    @property
    def rows_taken(self) -> int:
        return int(self._library.gl_rows_taken())

    def follow(self, segments: Sequence[HeldInputs]) -> None:
        """Go a run from reset; levels are made by signals, the drive's own are wrong ones."""
        self._library.gl_reset()
        counted = self._ffi.new("uint32_t[1]")
        for segment in segments:
            inputs = dict(segment.inputs)
            loud = [inputs.get(name, 0) >= _LEVEL_ONE for name in (RING_INPUT, BURST_INPUT)]
            for name, is_loud in zip((RING_INPUT, BURST_INPUT), loud, strict=True):
                if name in inputs:
                    inputs[name] = 0 if is_loud else _LEVEL_MAX
            code = self._library.gl_hold(segment.ticks, self._vector(inputs), *loud, counted)
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

    def exact_levels(self) -> None:
        """Compare the levels with the reference detector, word for word."""
        names = [name for name in (RING_INPUT, BURST_INPUT) if name in self._names]
        if not self._stages or not names:
            return
        source, reference = random.Random(SEED), ReferenceDetector(self._stages[0].detector)
        inputs = self._vector({s.name: s.low for s in self._trial.inputs})
        self._library.gl_reset()
        for tick in range(1, _EXACT_TICKS + 1):
            heights = [1 << source.randint(10, 23) for _ in range(2)]
            for _ in range(CONTROL_TICKS):
                torque, speed = (source.randint(-height, height) for height in heights)
                reference.sample(torque, speed)
                if not self._library.gl_control_tick(torque, speed):
                    raise _Different(f"After {tick} sequencer ticks at rest {_WRONG[7]}.")
            if code := self._library.gl_sequencer_tick(inputs):
                raise _Different(f"After {tick} sequencer ticks at rest {_WRONG[code]}.")
            wanted = {RING_INPUT: reference.ring.level, BURST_INPUT: reference.burst.level}
            for name in names:
                found = self._library.gl_input(self._names.index(name))
                if found != wanted[name]:
                    raise _Different(
                        f"After {tick} sequencer ticks of random signals {name} is {found}, by the "
                        f"reference detector {wanted[name]}."
                    )
        self.ticks += _EXACT_TICKS
