"""Moments that a trial can reach, each with the inputs that lead there from power-on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from gainwright_proof.mutants.array_code import Columns, selected

if TYPE_CHECKING:
    from numpy.typing import NDArray

POWER_ON = 0
"""Number of the moment after power-on."""
NO_PARENT = -1


@dataclass(frozen=True)
class Corpus:
    """A tree of moments; each comes from an earlier one by inputs held for some ticks.

    All ticks between a moment and its parent take the same row.
    """

    states: NDArray[np.int64]
    variables: Columns
    parents: NDArray[np.int64]
    """Number of the moment before; ``NO_PARENT`` at the beginning."""
    inputs: Columns
    """Inputs held from the parent on."""
    ticks: NDArray[np.int64]
    """For how many ticks; 0 at the beginning."""
    rows: NDArray[np.int64]
    """Number of the row that all these ticks take; ``NO_ROW`` at the beginning."""

    def __len__(self) -> int:
        return len(self.states)

    @cached_property
    def spans(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """First and last place of each moment and all that follow from it, in depth-first order."""
        size = np.ones(len(self), dtype=np.int64)
        parents = self.parents.tolist()
        for node in range(len(self) - 1, 0, -1):  # parents have smaller numbers
            size[parents[node]] += size[node]
        first = np.zeros(len(self), dtype=np.int64)
        free = np.ones(len(self), dtype=np.int64)
        for node in range(1, len(self)):
            parent = parents[node]
            first[node] = first[parent] + free[parent]
            free[parent] += size[node]
        return first, first + size - 1

    def downstream_of(self, changed: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Return whether each moment comes after one of the given moments or is one itself."""
        first, last = self.spans
        steps = np.zeros(len(self) + 1, dtype=np.int64)
        np.add.at(steps, first[changed], 1)
        np.add.at(steps, last[changed] + 1, -1)
        return np.cumsum(steps)[first] > 0

    def path(self, node: int) -> list[int]:
        """Return the moments from the first after power-on to this one."""
        found = []
        while node != POWER_ON:
            found.append(node)
            node = int(self.parents[node])
        return found[::-1]

    def inputs_to(self, node: int) -> Iterator[dict[str, int]]:
        """Yield the inputs of every tick from power-on to a moment."""
        for step in self.path(node):
            inputs = {name: int(column[step]) for name, column in self.inputs.items()}
            for _ in range(int(self.ticks[step])):
                yield inputs

    def before_edges(self, nodes: NDArray[np.int64]) -> tuple[NDArray[np.int64], Columns]:
        """Return state and values (variables and inputs) of the ticks that lead to moments."""
        parents = self.parents[nodes]
        values = {**selected(self.variables, parents), **selected(self.inputs, nodes)}
        return self.states[parents], values
