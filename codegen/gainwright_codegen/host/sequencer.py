"""Runs the exported sequencer of a trial on this computer, compiled on first use."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import cffi

from gainwright.language.model import Row, Trial
from gainwright_codegen.host import compile_and_load
from gainwright_codegen.sources import sequencer_sources

CHECKERS = ("-DGW_WITH_NAMES",)
"""Compiler flags that add to the header what only checkers call."""


class SequencerError(Exception):
    """The compiled step refused a tick: the table is not single-hit, or memory is damaged."""

    def __init__(self, code: int, state: str) -> None:
        reasons = {-1: "no row holds", -2: "several rows hold", -3: "memory outside its ranges"}
        super().__init__(f"{reasons.get(code, 'unknown code')} ({code}) in state {state}")
        self.code = code


def set_number(found: Any) -> int:
    """Return a ``gw_condition_set`` as one integer: bit k is condition k."""
    return sum(word << 64 * place for place, word in enumerate(found.words))


def load_sequencer(trial: Trial, flags: Iterable[str] = ()) -> tuple[cffi.FFI, Any]:
    """Compile the exported sequencer of a trial and load it; InputError if that fails."""
    sources, flags = sequencer_sources(trial), (*CHECKERS, *flags)
    return compile_and_load(sources, ("gw_sequencer.h", "gw_table.h"), flags, name="sequencer")


class CompiledSequencer:
    """The exported C of a trial behind the interface of the reference machine.

    Works as :class:`gainwright.semantics.machine.ReferenceMachine` does and is bit-identical to it.
    """

    def __init__(self, trial: Trial, flags: Iterable[str] = ()) -> None:
        self.trial = trial
        self._ffi, self._library = load_sequencer(trial, flags)
        self._sequencer = self._ffi.new("gw_sequencer *")
        self._inputs = self._ffi.new("int32_t[]", max(1, len(trial.inputs)))
        self._outputs = self._ffi.new("int32_t[]", max(1, len(trial.outputs)))
        self._state_numbers = trial.index.states
        self._variable_numbers = trial.index.variables
        self.reset()

    def reset(self) -> None:
        """Go to the initial state with initial variables."""
        self._library.gw_sequencer_reset(self._sequencer)

    @property
    def state(self) -> str:
        return self.trial.states[self._sequencer.state].name

    @property
    def variables(self) -> dict[str, int]:
        """Variables by name, in the order of the trial."""
        values = self._sequencer.variables
        return {variable.name: values[k] for k, variable in enumerate(self.trial.variables)}

    @property
    def saturated(self) -> frozenset[str]:
        """Names of the variables that were limited in the last tick."""
        bits = self._sequencer.saturated
        return frozenset(
            variable.name for k, variable in enumerate(self.trial.variables) if bits >> k & 1
        )

    def restore(self, state: str, variables: Mapping[str, int]) -> None:
        """Go to any state and values of all variables; KeyError if one is missing."""
        self._sequencer.state = self._state_numbers[state]
        self._sequencer.saturated = 0
        for name, number in self._variable_numbers.items():
            self._sequencer.variables[number] = variables[name]

    def outputs(self) -> dict[str, int]:
        """Outputs of the present state and variables by name, in the order of the trial."""
        self._library.gw_sequencer_outputs(self._sequencer, self._outputs)
        return {output.name: self._outputs[k] for k, output in enumerate(self.trial.outputs)}

    def conditions(self, inputs: Mapping[str, int]) -> dict[str, bool]:
        """All conditions over the present variables and the given inputs."""
        self._set_inputs(inputs)
        found = self._library.gw_trial_conditions(self._inputs, self._sequencer.variables)
        bits = set_number(found)
        names = (condition.name for condition in self.trial.conditions)
        return {name: bool(bits >> k & 1) for k, name in enumerate(names)}

    def tick(self, inputs: Mapping[str, int]) -> Row:
        """Take one tick and return the row taken.

        Args:
            inputs: a value for every input by name, inside its declared range.

        Raises:
            SequencerError: not exactly one row holds; then nothing has changed.
        """
        self._set_inputs(inputs)
        number = self._library.gw_sequencer_step(self._sequencer, self._inputs)
        if number < 0:
            raise SequencerError(number, self.state)
        return self.trial.rows[number]

    def _set_inputs(self, inputs: Mapping[str, int]) -> None:
        for k, signal in enumerate(self.trial.inputs):
            self._inputs[k] = inputs[signal.name]
