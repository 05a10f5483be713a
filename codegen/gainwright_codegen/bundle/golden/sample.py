"""A sample is a memory and inputs; a checksum covers all that ticks do."""

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


Memory = tuple[int, ...]
"""Number of a state, then the variables in the order of the trial."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One tick: where a machine is put, and its inputs."""

    start: Memory
    inputs: Inputs


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
