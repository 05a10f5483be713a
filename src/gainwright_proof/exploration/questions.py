"""All that the explorer asks of a tick in a state, as expressions over inputs and variables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from gainwright.language.expression import Binary, Boolean, Expression, Operator, Unary
from gainwright.language.model import RequirementKind, Row, State, Trial
from gainwright_proof.exploration.rewrite import after_tick
from gainwright_proof.exploration.specialise import Specialiser


@dataclass(frozen=True, slots=True)
class RowQuestions:
    """What is asked of a row."""

    row: Row
    literals: tuple[tuple[Expression, bool], ...]
    """The row holds if each of these conditions has this boolean value."""
    assigned: Mapping[str, Expression]
    """New value by variable."""
    judged: tuple[Expression, ...]
    """What the row can decide about requirements if it is taken, where that is not known anyway."""


def judged_over_ticks(trial: Trial) -> Iterator[tuple[int, Expression]]:
    """Yield (number of the requirement, expression over a tick) of all that a tick can show.

    That is the formula of a step requirement; and of a response requirement, that its time begins:
    the trigger holds and the formula does not hold at once.
    """
    for number, requirement in enumerate(trial.requirements):
        if requirement.kind is RequirementKind.STEP:
            yield number, requirement.formula
        elif requirement.kind is RequirementKind.RESPONSE:
            assert requirement.trigger is not None
            not_yet = Unary(Operator.NOT, after_tick(requirement.formula))
            yield number, Binary(Operator.AND, requirement.trigger, not_yet)


class Questions:
    """Collects the questions of one trial."""

    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self._specialiser = Specialiser(trial)

    def conditions(self, state: State) -> tuple[Expression, ...]:
        """Return the conditions that the rows of a state look at."""
        rows = self._trial.rows_by_state[state.name]
        names = dict.fromkeys(name for row in rows for name in (*row.when, *row.unless))
        return tuple(self._specialiser.condition(name) for name in names)

    def rows(self, state: State) -> tuple[RowQuestions, ...]:
        """Return the questions of every row of a state."""
        return tuple(self._row(row) for row in self._trial.rows_by_state[state.name])

    def _row(self, row: Row) -> RowQuestions:
        specialiser = self._specialiser
        facts = specialiser.facts(row)
        judged = (
            specialiser.with_new_values(formula, row, facts)
            for _, formula in judged_over_ticks(self._trial)
        )
        literals = [(name, True) for name in row.when] + [(name, False) for name in row.unless]
        return RowQuestions(
            row,
            tuple((specialiser.condition(name), value) for name, value in literals),
            {name: specialiser.expanded(value) for name, value in row.actions.items()},
            tuple(left for left in judged if not isinstance(left, Boolean)),
        )
