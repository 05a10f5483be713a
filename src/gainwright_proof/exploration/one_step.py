"""One step of the compiled C from every situation, under values that no specification names.

The search tries one input vector for every way in which inputs can matter *by the specification*.
C that is wrong about other values (a mask, a wrap, a narrow type) shows only under those. So from a
node of every reachable situation one step is taken for some vectors of behaviours (the next
situation takes the next ones), with every input in turn replaced by boundaries of its range, of its
comparisons and of the integer types, powers of two, their neighbours, aliases of the thresholds and
random numbers; and with all inputs at random.
Values outside the range of an input are among them: the contract takes the nearest value of it.

The other side is the reference semantics in numpy, built by other code than the exported C.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from gainwright.language.critical_values import constants
from gainwright.language.model import Signal, Trial
from gainwright.semantics.array_code import ArrayCode
from gainwright.semantics.array_machine import ArrayMachine, Ticked
from gainwright_proof.exploration.engine import Engine, Probed
from gainwright_proof.exploration.vectors import StateVectors

if TYPE_CHECKING:
    from numpy.typing import NDArray

SEED = 20_260_801
_INT32_LOW, _INT32_HIGH = -(1 << 31), (1 << 31) - 1
_RANDOM_EACH = 12
"""Random values of one input; once over all 32 bits, once inside its range."""
_RANDOM_ALL = 400
"""Vectors with every input at random."""
_ALIAS_BITS = (7, 8, 15, 16, 24)
"""Widths at which a narrow type or a mask would make two values one."""


def unusual_values(signal: Signal, literals: Sequence[int], random: np.random.Generator) -> list:
    """Return 32-bit values to try for one input, sorted.

    ``literals`` are the integers that the trial's conditions mention.
    """
    edges = (signal.low, signal.high, *literals)
    values = {edge + step for edge in edges for step in (-1, 0, 1)}
    values |= {edge + sign * (1 << bits) for edge in edges for bits in _ALIAS_BITS
               for sign in (-1, 1)}  # fmt: skip
    values |= {sign * (1 << bit) + step for bit in range(32) for sign in (-1, 1)
               for step in (-1, 0, 1)}  # fmt: skip
    for low, high in ((_INT32_LOW, _INT32_HIGH), (signal.low, signal.high)):
        values |= set(random.integers(low, high, _RANDOM_EACH, endpoint=True).tolist())
    return sorted(value for value in values if _INT32_LOW <= value <= _INT32_HIGH)


_BASES = 6
"""Vectors of behaviours that are varied in one situation."""


class UnusualVectors:
    """The vectors to try in one state."""

    def __init__(self, trial: Trial, state: StateVectors, random: np.random.Generator) -> None:
        literals = constants(condition.expression for condition in trial.conditions)
        self._slots = max(1, len(trial.inputs))
        bases = np.array(state.vectors[: state.distinct], dtype=np.int64)
        self._bases = bases.reshape(state.distinct, len(trial.inputs))
        self._values = [np.array(unusual_values(s, literals, random), dtype=np.int64)
                        for s in trial.inputs]  # fmt: skip
        anything = [random.integers(_INT32_LOW, _INT32_HIGH, _RANDOM_ALL, endpoint=True)
                    for _ in trial.inputs]  # fmt: skip
        near = [random.integers(s.low - 1, s.high + 1, _RANDOM_ALL, endpoint=True)
                for s in trial.inputs]  # fmt: skip
        self._random = [np.stack(part, axis=1) for part in (anything, near) if part]
        self._turn = 0

    def next(self) -> NDArray[np.int32]:
        """Return the vectors for one more situation, shape (n, number of inputs, at least 1)."""
        count = len(self._bases)
        chosen = [(self._turn + k) % count for k in range(min(_BASES, count))]
        self._turn = (self._turn + _BASES) % count
        bases = self._bases[chosen]
        blocks = [bases, *self._random]
        for place, values in enumerate(self._values):
            block = np.repeat(bases, len(values), axis=0)
            block[:, place] = np.tile(values, len(bases))
            blocks.append(block)
        found = np.concatenate(blocks).astype(np.int32)
        return found if found.shape[1] else np.zeros((1, self._slots), dtype=np.int32)


class OneStep:
    """Compares compiled C and reference from a node of every situation."""

    def __init__(self, trial: Trial, engine: Engine) -> None:
        self._trial = trial
        self._engine = engine
        self._machine = ArrayMachine(trial, ArrayCode(trial))
        random = np.random.default_rng(SEED)
        self._tried = [UnusualVectors(trial, state, random) for state in engine.vectors_by_state]
        self.situations = 0
        self.steps = 0

    def first_difference(self) -> tuple[int, str] | None:
        """Return the node and a sentence of the first difference; None if there is none."""
        for node in self._engine.situations():
            state, variables = self._engine.memory_of(node)
            inputs = self._tried[state].next()
            self.situations += 1
            self.steps += len(inputs)
            text = self._compare(state, variables, inputs, self._engine.probe(node, inputs))
            if text:
                return node, text
        return None

    def _compare(
        self, state: int, variables: Sequence[int], inputs: NDArray[np.int32], found: Probed
    ) -> str:
        count = len(inputs)
        values = {
            signal.name: np.clip(inputs[:, k].astype(np.int64), signal.low, signal.high)
            for k, signal in enumerate(self._trial.inputs)
        }
        values |= {
            signal.name: np.full(count, variables[k], dtype=np.int64)
            for k, signal in enumerate(self._trial.variables)
        }
        wanted = self._machine.tick(np.full(count, state, dtype=np.int64), values)
        outputs = self._machine.outputs(wanted.states, wanted.variables)
        differs = np.zeros(count, dtype=bool)
        for name, reference, compiled in self._pairs(wanted, outputs, found):
            del name
            differs |= reference != compiled
        # Where not exactly one row holds, the step says so and changes nothing.
        differs = np.where(wanted.rows < 0, found.rows >= 0, differs)
        if not differs.any():
            return ""
        return self._difference_in_words(
            int(np.argmax(differs)), state, variables, inputs, wanted, outputs, found
        )

    def _pairs(self, wanted: Ticked, outputs: dict, found: Probed):  # type: ignore[no-untyped-def]
        """Yield (what, reference, compiled) of everything that a step shows."""
        trial = self._trial
        yield "row", wanted.rows, found.rows
        yield "state", wanted.states, found.states
        for k, variable in enumerate(trial.variables):
            yield variable.name, wanted.variables[variable.name], found.variables[:, k]
        for k, output in enumerate(trial.outputs):
            yield output.name, outputs[output.name], found.outputs[:, k]

    def _difference_in_words(  # type: ignore[no-untyped-def]
        self, lane: int, state: int, variables, inputs, wanted, outputs, found
    ) -> str:
        trial = self._trial
        given = ", ".join(f"{s.name} = {inputs[lane, k]}" for k, s in enumerate(trial.inputs))
        held = ", ".join(f"{v.name} = {variables[k]}" for k, v in enumerate(trial.variables))
        different = [
            f"{what}: {self._value_in_words(what, reference, lane)} by the specification, "
            f"{self._value_in_words(what, compiled, lane)} by the C"
            for what, reference, compiled in self._pairs(wanted, outputs, found)
            if reference[lane] != compiled[lane]
        ]
        return (
            f"A step goes otherwise than specified: {'; '.join(different)}. In state "
            f"{trial.states[state].name} with {held or 'no variables'} and inputs {given}."
        )

    def _value_in_words(self, what: str, values: NDArray[np.int64], lane: int) -> str:
        value = int(values[lane])
        if what == "row":
            return self._trial.rows[value].id if value >= 0 else f"no single row ({value})"
        return self._trial.states[value].name if what == "state" else str(value)
