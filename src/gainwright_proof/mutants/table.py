"""Whether the table of a state is still single-hit, on many valuations of its conditions.

A valuation that breaks it is real. That none was found proves nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from gainwright.language.model import Kind, Signal, Trial
from gainwright_proof.mutants.array_code import ArrayCode
from gainwright_proof.mutants.array_machine import NO_ROW, ArrayMachine
from gainwright_proof.mutants.input_choices import critical

if TYPE_CHECKING:
    from numpy.typing import NDArray

VALUATIONS = 20_000
"""Moments and inputs drawn."""
SHARES = (0.05, 0.5, 0.95)
"""How often a boolean value is true, drawn anew for each lane."""


class Valuations:
    """Valuations of the conditions that some values of inputs and variables cause."""

    def __init__(self, trial: Trial, code: ArrayCode, seed: int, count: int = VALUATIONS) -> None:
        """Values are drawn from all declared ranges, reachable or not: tables must be complete."""
        random = np.random.default_rng(seed)
        expressions = [condition.expression for condition in code.conditions]

        def drawn(signal: Signal) -> NDArray[np.int64]:
            if signal.kind is Kind.BOOLEAN:
                # Often nearly sure, so that long cubes are met too.
                return (random.random(count) < random.choice(SHARES, count)).astype(np.int64)
            values = [signal.low, signal.high, *critical(trial, signal, expressions)]
            return random.choice(np.array(values, dtype=np.int64), count)

        values = {signal.name: drawn(signal) for signal in (*trial.inputs, *trial.variables)}
        machine = ArrayMachine(trial, code)
        self._bits = np.unique(machine.conditions(values, count))

    def not_single_hit(self, machine: ArrayMachine, states: Sequence[int]) -> list[int]:
        """Return the states (numbers) in which not exactly one row holds for some valuation."""
        return [
            state
            for state in states
            if (machine.rows(np.full(len(self._bits), state), self._bits) == NO_ROW).any()
        ]
