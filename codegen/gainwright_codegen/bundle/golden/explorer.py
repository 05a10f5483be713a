"""The compiled sequencer in plain numbers, as fast as a search needs it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from gainwright.language.model import Row, Trial
from gainwright_codegen.bundle.golden.domain import Inputs
from gainwright_codegen.bundle.golden.scenario import Memory, Segment
from gainwright_codegen.host import compile_shared, load_library
from gainwright_codegen.host.sequencer import CHECKERS, SequencerError, sequencer_cdef
from gainwright_codegen.sources import sequencer_sources

_HOLD_FILE = Path(__file__).parent / "hold.c"
_HOLD_CDEF = """
typedef struct { int32_t ticks; int32_t first_row; int32_t last_row; } held;
held hold(gw_sequencer *sequencer, const int32_t inputs[], int32_t ticks);
"""


@dataclass(frozen=True, slots=True)
class Cube:
    """The conditions of a row: it holds if ``bits & mask == value``."""

    mask: int
    value: int

    def violations(self, bits: int) -> int:
        """Return how many conditions are not as the row wants them."""
        return ((bits ^ self.value) & self.mask).bit_count()


class Explorer:
    """One compiled sequencer that can be put anywhere and run ahead."""

    def __init__(self, trial: Trial) -> None:
        """Compile the trial; InputError if that fails."""
        self._trial = trial
        sources = sequencer_sources(trial) | {_HOLD_FILE.name: _HOLD_FILE.read_bytes()}
        library = compile_shared(sources, CHECKERS, name="explorer")
        self._ffi, self._library = load_library(library, sequencer_cdef(trial) + _HOLD_CDEF)
        self._sequencer = self._ffi.new("gw_sequencer *")
        self._inputs = self._ffi.new("int32_t[]", max(1, len(trial.inputs)))
        bits = trial.index.condition_bits
        self.cubes = tuple(_cube(row, bits) for row in trial.rows)

    def reset(self) -> Memory:
        self._library.gw_sequencer_reset(self._sequencer)
        return self.memory

    @property
    def memory(self) -> Memory:
        count = len(self._trial.variables)
        return (self._sequencer.state, *self._sequencer.variables[0:count])

    @memory.setter
    def memory(self, memory: Memory) -> None:
        self._sequencer.state = memory[0]
        for k, value in enumerate(memory[1:]):
            self._sequencer.variables[k] = value

    def conditions(self, inputs: Inputs) -> int:
        """Return the conditions that hold now for the inputs, as bits."""
        self._set(inputs)
        return self._library.gw_trial_conditions(self._inputs, self._sequencer.variables)

    def hold(self, inputs: Inputs, ticks: int) -> tuple[int, frozenset[int]]:
        """Tick until another row is taken or the state changes, at most ``ticks`` times.

        Returns the ticks done and the numbers of the rows taken.
        """
        self._set(inputs)
        result = self._library.hold(self._sequencer, self._inputs, ticks)
        if result.last_row < 0:
            raise SequencerError(result.last_row, self._trial.states[self._sequencer.state].name)
        return result.ticks, frozenset({result.first_row, result.last_row})

    def run(self, segment: Segment) -> frozenset[int]:
        """Tick through a whole segment; return the numbers of the rows taken."""
        taken, left = frozenset[int](), segment.ticks
        while left > 0:
            ticks, rows = self.hold(segment.inputs, left)
            taken, left = taken | rows, left - ticks
        return taken

    def _set(self, inputs: Inputs) -> None:
        self._inputs[0 : len(inputs)] = inputs


def _cube(row: Row, bits: dict[str, int]) -> Cube:
    value = sum(bits[name] for name in row.when)
    return Cube(value | sum(bits[name] for name in row.unless), value)
