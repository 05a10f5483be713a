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


def tick_words(trial: Trial, machine: Machine, row: Row) -> list[int]:
    """Return row taken, new state, saturated variables, variables and outputs, as words."""
    variables, outputs = machine.variables, machine.outputs()
    saturated = sum(trial.index.variable_bits[name] for name in machine.saturated)
    return [
        trial.index.rows[row.id],
        trial.index.states[machine.state],
        saturated % _WORD,
        saturated // _WORD,
        *(variables[variable.name] for variable in trial.variables),
        *(outputs[output.name] for output in trial.outputs),
    ]
