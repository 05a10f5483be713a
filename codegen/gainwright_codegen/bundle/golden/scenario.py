"""A scenario is a start and a sequence of inputs; its checksum covers all that a tick does."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from gainwright.language.model import Row, Trial
from gainwright_codegen.bundle.golden.domain import Inputs

CHECKSUM_START = 2166136261
CHECKSUM_FACTOR = 16777619
"""Those of the FNV-1a hash with 32 bits, taken over 32-bit words instead of bytes."""
_WORD = 2**32


class Machine(Protocol):
    """The interface that the Python reference and the compiled sequencer share."""

    @property
    def state(self) -> str: ...
    @property
    def variables(self) -> Mapping[str, int]: ...
    @property
    def saturated(self) -> frozenset[str]: ...
    def restore(self, state: str, variables: Mapping[str, int]) -> None: ...
    def outputs(self) -> Mapping[str, int]: ...
    def tick(self, inputs: Mapping[str, int]) -> Row: ...


@dataclass(frozen=True, slots=True, order=True)
class Segment:
    """The same inputs for a number of ticks."""

    ticks: int
    inputs: Inputs


Memory = tuple[int, ...]
"""Number of a state, then the variables in the order of the trial."""


@dataclass(frozen=True, slots=True, order=True)
class Scenario:
    """Inputs for a machine that begins with a given memory."""

    start: Memory
    segments: tuple[Segment, ...] = ()

    @property
    def ticks(self) -> int:
        return sum(segment.ticks for segment in self.segments)

    def longer(self, segment: Segment) -> Scenario:
        """Return the scenario with one more segment, joined to the last if the inputs are alike."""
        before = self.segments
        if before and before[-1].inputs == segment.inputs:
            segment = Segment(before[-1].ticks + segment.ticks, segment.inputs)
            before = before[:-1]
        return Scenario(self.start, (*before, segment))


def added(checksum: int, words: Iterable[int]) -> int:
    """Return a checksum with more words, signed or not, of 32 bits each."""
    for word in words:
        checksum = (checksum ^ (word % _WORD)) * CHECKSUM_FACTOR % _WORD
    return checksum


class Checksum:
    """Accumulates what the ticks of a machine do."""

    def __init__(self, trial: Trial) -> None:
        self.value = CHECKSUM_START
        self._trial = trial
        self._state_numbers = trial.index.states
        self._row_numbers = trial.index.rows
        self._bits = trial.index.variable_bits

    def add(self, machine: Machine, row: Row) -> None:
        """Add row taken, new state, saturated variables, variables and outputs."""
        variables, outputs = machine.variables, machine.outputs()
        saturated = sum(self._bits[name] for name in machine.saturated)
        words = [
            self._row_numbers[row.id],
            self._state_numbers[machine.state],
            saturated % _WORD,
            saturated // _WORD,
            *(variables[variable.name] for variable in self._trial.variables),
            *(outputs[output.name] for output in self._trial.outputs),
        ]
        self.value = added(self.value, words)


def checksums(trial: Trial, machine: Machine, scenario: Scenario) -> tuple[int, ...]:
    """Run a scenario on a machine; return the checksum after each segment."""
    variables = dict(zip((v.name for v in trial.variables), scenario.start[1:], strict=True))
    machine.restore(trial.states[scenario.start[0]].name, variables)
    checksum, results = Checksum(trial), []
    for segment in scenario.segments:
        inputs = dict(zip((signal.name for signal in trial.inputs), segment.inputs, strict=True))
        for _ in range(segment.ticks):
            row = machine.tick(inputs)
            checksum.add(machine, row)
        results.append(checksum.value)
    return tuple(results)
