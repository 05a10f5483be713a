"""The tick of the reference semantics on plain dictionaries, for many ticks in little time.

The tests hold it to :class:`gainwright.semantics.machine.ReferenceMachine`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from gainwright.language.cube import cube
from gainwright.language.expression import (
    Binary,
    Choice,
    Expression,
    Integer,
    Operator,
    Reference,
)
from gainwright.language.model import Row, Trial
from gainwright.semantics.python_code import CodeWriter

Values = dict[str, int]


class FastMachine:
    """Rows and new values; nothing is checked."""

    def __init__(self, trial: Trial) -> None:
        writer = CodeWriter([], trial.conditions)
        self._conditions = writer.function(
            [_bits([Reference(condition.name) for condition in trial.conditions])]
        )
        self._actions = {row.id: writer.function(list(row.actions.values())) for row in trial.rows}
        self._ranges = {v.name: (v.low, v.high) for v in trial.variables}
        bits = trial.index.condition_bits
        self._cubes = {
            state: [(cube(row, bits), row) for row in rows]
            for state, rows in trial.rows_by_state.items()
        }

    def row(self, state: str, values: Mapping[str, int]) -> Row | None:
        """Return the row that holds for variables and inputs; None if not exactly one does."""
        (bits,) = self._conditions(values, 0, {}, 0)
        found = [row for one, row in self._cubes[state] if one.holds(bits)]
        return found[0] if len(found) == 1 else None

    def after(self, row: Row, variables: Values, values: Mapping[str, int]) -> Values:
        """Return the variables after a row was taken."""
        result = dict(variables)
        computed = self._actions[row.id](values, 0, {}, 0)
        for name, value in zip(row.actions, computed, strict=True):
            low, high = self._ranges[name]
            result[name] = min(max(int(value), low), high)
        return result


def _bits(booleans: Sequence[Expression]) -> Expression:
    """Return an expression whose bits are boolean values (Python integers have any length)."""
    total: Expression = Integer(0)
    for index, boolean in enumerate(booleans):
        bit = Choice(boolean, Integer(1 << index), Integer(0))
        total = Binary(Operator.ADD, total, bit)
    return total
