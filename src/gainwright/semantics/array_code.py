"""Expressions of a trial as numpy functions, compiled once and shared by all its mutants."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.language.expression import Expression
from gainwright.language.model import Condition, Trial
from gainwright.semantics.python_code import ARRAY, Check, CodeWriter

if TYPE_CHECKING:
    from numpy.typing import NDArray

Columns = Mapping[str, "NDArray[np.int64]"]
"""Values by name, one element per lane; boolean values are 0 and 1."""
States = "NDArray[np.int64]"
"""State index per lane, in the order of the trial."""


class ArrayCode:
    """Compiles expressions over one set of conditions; equal expressions are compiled once."""

    def __init__(self, trial: Trial, conditions: Sequence[Condition] | None = None) -> None:
        """``conditions`` stand in the place of the trial's own, for mutants of conditions."""
        self.conditions = tuple(trial.conditions if conditions is None else conditions)
        names = [state.name for state in trial.states]
        self._writer = CodeWriter(names, self.conditions, ARRAY, trial.boolean_names)
        self._functions: dict[tuple[Expression, ...], Check] = {}

    def function(self, expressions: Sequence[Expression]) -> Check:
        """Return the function that computes all expressions."""
        key = tuple(expressions)
        if key not in self._functions:
            self._functions[key] = self._writer.function(key)
        return self._functions[key]


def filled(value: Any, count: int) -> NDArray[np.int64]:
    """Return a computed value, which may be a scalar, as integers of ``count`` lanes."""
    if np.ndim(value):
        return value.astype(np.int64, copy=False)
    return np.full(count, value, dtype=np.int64)


def filled_boolean(value: Any, count: int) -> NDArray[np.bool_]:
    """Return a computed boolean value, which may be a scalar, for ``count`` lanes."""
    if np.ndim(value):
        return value.astype(bool, copy=False)
    return np.full(count, value, dtype=bool)
