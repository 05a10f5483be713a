"""The tick of the reference semantics on plain dictionaries, for many ticks in little time.

The tests hold it to :class:`gainwright.semantics.machine.ReferenceMachine`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from gainwright.semantics.python_code import CodeWriter
from gainwright.spec.expression import (
    COMPARISONS,
    Binary,
    Choice,
    Expression,
    Integer,
    Operator,
    Reference,
    references,
    walk,
)
from gainwright.spec.model import Kind, Row, Trial

Values = dict[str, int]


class FastMachine:
    """Rows, new values and the region of moments; nothing is checked."""

    def __init__(self, trial: Trial) -> None:
        writer = CodeWriter([], trial.conditions)
        self._conditions = writer.function(
            [_bits([Reference(condition.name) for condition in trial.conditions])]
        )
        self._region = writer.function([_bits(_variable_truths(trial))])
        self._actions = {row.id: writer.function(list(row.actions.values())) for row in trial.rows}
        self._ranges = {v.name: (v.low, v.high) for v in trial.variables}
        bits = {condition.name: 1 << index for index, condition in enumerate(trial.conditions)}
        self._cubes = {
            state: [(_mask(row, bits), _mask_true(row, bits), row) for row in rows]
            for state, rows in trial.rows_by_state.items()
        }

    def row(self, state: str, values: Mapping[str, int]) -> Row | None:
        """Return the row that holds for variables and inputs; None if not exactly one does."""
        (bits,) = self._conditions(values, 0, {}, 0)
        found = [row for mask, value, row in self._cubes[state] if bits & mask == value]
        return found[0] if len(found) == 1 else None

    def after(self, row: Row, variables: Values, values: Mapping[str, int]) -> Values:
        """Return the variables after a row was taken."""
        result = dict(variables)
        computed = self._actions[row.id](values, 0, {}, 0)
        for name, value in zip(row.actions, computed, strict=True):
            low, high = self._ranges[name]
            result[name] = min(max(int(value), low), high)
        return result

    def region(self, variables: Values) -> int:
        """Return which truth variables and comparisons of variables hold, as bits."""
        return self._region(variables, 0, {}, 0)[0]


def _variable_truths(trial: Trial) -> list[Expression]:
    """Return the truth variables and every comparison in a condition that reads variables only."""
    names = {variable.name for variable in trial.variables}
    truths: dict[Expression, None] = {
        Reference(variable.name): None
        for variable in trial.variables
        if variable.kind is Kind.TRUTH
    }
    for condition in trial.conditions:
        for part in walk(condition.expression):
            if isinstance(part, Binary) and part.operator in COMPARISONS:
                read = references(part)
                if read and read <= names:
                    truths[part] = None
    return list(truths)


def _bits(truths: Sequence[Expression]) -> Expression:
    """Return an expression whose bits are truth values (Python integers have any length)."""
    total: Expression = Integer(0)
    for index, truth in enumerate(truths):
        bit = Choice(truth, Integer(1 << index), Integer(0))
        total = Binary(Operator.ADD, total, bit)
    return total


def _mask(row: Row, bits: Mapping[str, int]) -> int:
    return sum(bits[name] for name in (*row.when, *row.unless))


def _mask_true(row: Row, bits: Mapping[str, int]) -> int:
    return sum(bits[name] for name in row.when)
