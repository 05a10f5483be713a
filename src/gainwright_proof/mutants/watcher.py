"""What a search tells those who look on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from gainwright_proof.mutants.array_code import Columns
from gainwright_proof.mutants.array_machine import Ticked

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

UNKNOWN = -1


@dataclass(frozen=True, slots=True)
class Batch:
    """Inputs held from known moments on, one lane each."""

    parents: NDArray[np.int64]
    """Numbers of the moments."""
    states: NDArray[np.int64]
    values: Columns
    """Variables and inputs."""
    ticked: Ticked
    """The first tick."""
    ticks: NDArray[np.int64]
    """How many ticks the inputs are held."""
    reached: Columns
    """Variables after the last of them; the state is that after the first."""
    numbers: NDArray[np.int64]
    """Number of the moment reached; ``UNKNOWN`` if only a similar one is known."""


class Watcher(Protocol):
    """Looks on while a search goes on."""

    @property
    def satisfied(self) -> bool:
        """True to end the search."""
        ...

    def begun(self, states: NDArray[np.int64], variables: Columns) -> None:
        """Take note of the moments from which the search begins, numbered from 0."""
        ...

    def held(self, batch: Batch) -> None:
        """Take note of ticks; new moments have the next free numbers, in the order of lanes."""
        ...
