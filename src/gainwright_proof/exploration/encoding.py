"""State and variables as one number: mixed radix, the widest variable last.

Neighbouring values of the last variable, usually a time, get neighbouring numbers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from gainwright.language.model import Trial, Variable

MOST_CODES = 1 << 63


@dataclass(frozen=True, slots=True)
class Encoding:
    """code = (...(state * size_1 + v_1) * size_2 + v_2 ...), where v_k counts from its low end."""

    states: int
    order: tuple[int, ...]
    """Numbers of the variables, most significant first."""
    sizes: tuple[int, ...]
    """Number of values of each variable, in the same order."""

    @property
    def codes(self) -> int:
        """Number of combinations of state and variables."""
        return self.states * math.prod(self.sizes)

    @property
    def page_bits(self) -> int:
        """Logarithm of the number of neighbouring codes that are stored together."""
        widest = self.sizes[-1] if self.sizes else 1
        return min(max(widest.bit_length() - 3, 4), 8)


def encoding_of(trial: Trial) -> Encoding:
    """Return the encoding of a trial's state and variables."""
    numbered = sorted(enumerate(trial.variables), key=lambda pair: (_size(pair[1]), pair[0]))
    return Encoding(
        len(trial.states),
        tuple(number for number, _ in numbered),
        tuple(_size(variable) for _, variable in numbered),
    )


def _size(variable: Variable) -> int:
    return variable.high - variable.low + 1
