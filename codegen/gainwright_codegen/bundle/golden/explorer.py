"""The compiled sequencer in plain numbers, as fast as a search needs it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from gainwright.language.cube import cube
from gainwright.language.model import Trial
from gainwright_codegen.bundle.golden.domain import Inputs
from gainwright_codegen.bundle.golden.sample import Memory, Sample
from gainwright_codegen.host.sequencer import SequencerError, load_sequencer


class Explorer:
    """One compiled sequencer that can be put anywhere and run ahead."""

    def __init__(self, trial: Trial) -> None:
        """Compile the trial; InputError if that fails."""
        self._trial = trial
        self._ffi, self._library = load_sequencer(trial)
        self._sequencer = self._ffi.new("gw_sequencer *")
        self._inputs = self._ffi.new("int32_t[]", max(1, len(trial.inputs)))
        self._variables = self._sequencer.variables
        self._slots = [(self._variables, k) for k in range(len(trial.variables))]
        self._slots += [(self._inputs, k) for k in range(len(trial.inputs))]
        bits = trial.index.condition_bits
        self.cubes = tuple(cube(row, bits) for row in trial.rows)

    @property
    def memory(self) -> Memory:
        count = len(self._trial.variables)
        return (self._sequencer.state, *self._sequencer.variables[0:count])

    @memory.setter
    def memory(self, memory: Memory) -> None:
        self._sequencer.state = memory[0]
        self._sequencer.variables[0 : len(memory) - 1] = memory[1:]

    def put(self, values: Sequence[int]) -> None:
        """Set variables and, behind them, inputs, for :meth:`conditions_with`."""
        count = len(self._trial.variables)
        self._sequencer.variables[0:count] = values[:count]
        self._set(values[count:])

    def conditions_with(self, changes: Mapping[int, int]) -> int:
        """Return the conditions, as bits, that hold once these signals have these values.

        The places are those of :meth:`put`; the other signals stay as they were.
        """
        for place, value in changes.items():
            array, index = self._slots[place]
            array[index] = value
        words = self._library.gw_trial_conditions(self._inputs, self._variables).words
        if len(words) == 1:
            return words[0]
        return sum(word << 64 * place for place, word in enumerate(words))

    def take(self, inputs: Inputs) -> int:
        """Tick once; return the number of the row taken."""
        self._set(inputs)
        row = self._library.gw_sequencer_advance(self._sequencer, self._inputs)
        if row < 0:
            raise SequencerError(row, self._trial.states[self._sequencer.state].name)
        return int(row)

    def taken(self, sample: Sample) -> int:
        """Tick once where a sample is; return the number of the row taken."""
        self.memory = sample.start
        return self.take(sample.inputs)

    def _set(self, inputs: Sequence[int]) -> None:
        self._inputs[0 : len(inputs)] = inputs
