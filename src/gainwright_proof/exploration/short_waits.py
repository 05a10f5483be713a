"""A trial with short waits: of the values between two constants, two stand for all.

A timer is a variable that rows set to constants, keep, or raise by one (up to a constant), and that
is read in comparisons with constants only, or where a requirement says that it was raised by one.
Nothing tells apart the values between two such constants: in each of them the same rows hold, and a
tick leads to the next value, within the stretch or out of it. With two values of each stretch every
kind of tick is there: into it, within it, out of it. So an untimed requirement holds of the trial
exactly if it holds of the one with short waits, as long as two ticks are enough for all else that
can happen in a stretch. They are not where something else is counted up while the timer runs, or
two timers run side by side: then the trial with short waits reaches less. So the number of its
states is held against that of the exploration, which folds waits in another way that is exact
(``gx_pass.h``). Times do not hold, and are not asked of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from gainwright.language.expression import (
    COMPARISONS,
    Binary,
    Choice,
    Expression,
    Integer,
    Operator,
    Reference,
    Unary,
    children,
)
from gainwright.language.model import Kind, Requirement, Row, Trial, Variable
from gainwright_proof.exploration.encoding import encoding_of
from gainwright_proof.exploration.situations import Situations
from gainwright_proof.exploration.vectors import StateVectors

_KEPT = 2
"""Values of a stretch that stand for all of it."""
_LEAST_VALUES = 16
"""A variable with fewer values is left as it is."""


@dataclass(frozen=True, slots=True)
class Wait:
    """How the values of one timer are shortened."""

    variable: Variable
    points: tuple[int, ...]
    """Values that are kept apart from all others, rising; the ends of the range among them."""
    short: tuple[int, ...]
    """What each point becomes."""

    def shortened(self, value: int) -> int:
        """Return what a value becomes; beyond the range, what is as far beyond the short one."""
        if value <= self.points[0]:
            return self.short[0] + value - self.points[0]
        if value >= self.points[-1]:
            return self.short[-1] + value - self.points[-1]
        place = int(np.searchsorted(self.points, value, side="right")) - 1
        begin, end = self.points[place], self.points[place + 1]
        if value == end - 1 and value > begin:
            return self.short[place + 1] - 1
        return min(self.short[place] + value - begin, self.short[place] + 1)

    def sizes(self) -> tuple[int, ...]:
        """Return how many values each short value stands for, in rising order."""
        sizes = [1]
        for (low, high), (before, after) in zip(
            pairwise(self.points), pairwise(self.short), strict=True
        ):
            inside = after - before - 1
            # All but the last value of a stretch have one that stands for them.
            several = [high - low - inside] if inside == _KEPT else []
            sizes += [*several, *[1] * (inside - len(several)), 1]
        return tuple(sizes)

    def digits(self, counted: np.ndarray) -> np.ndarray:
        """Return the same for many values within the range, counted from its low end."""
        points = np.array(self.points, dtype=np.int64) - self.points[0]
        short = np.array(self.short, dtype=np.int64) - self.short[0]
        values = counted.astype(np.int64)
        place = np.searchsorted(points, values, side="right") - 1
        following = np.minimum(place + 1, len(points) - 1)
        past = values - points[place]
        last = (values == points[following] - 1) & (past > 0)
        kept = np.where(last, short[following] - 1, short[place] + np.minimum(past, 1))
        return kept.astype(np.uint64)


def waits(trial: Trial) -> tuple[Wait, ...]:
    """Return the timers of a trial, with their short values."""
    return tuple(
        _wait(variable, sorted(constants))
        for variable in trial.variables
        if variable.kind is Kind.INTEGER and variable.high - variable.low >= _LEAST_VALUES
        if (constants := _constants(trial, variable)) is not None
    )


def with_short_waits(trial: Trial, shortened: Sequence[Wait]) -> Trial:
    """Return the trial with short waits; numbers lose the names of constants that keep theirs."""
    by_name = {wait.variable.name: wait for wait in shortened}

    def new(expression: Expression) -> Expression:
        return _rewritten(expression, by_name)

    def action(name: str, value: Expression) -> Expression:
        return _assigned(value, by_name[name]) if name in by_name else new(value)

    def requirement(old: Requirement) -> Requirement:
        trigger = None if old.trigger is None else new(old.trigger)
        return replace(old, formula=new(old.formula), trigger=trigger)

    def row(old: Row) -> Row:
        return replace(old, actions={n: action(n, v) for n, v in old.actions.items()})

    return replace(
        trial,
        variables=tuple(_variable(v, by_name.get(v.name)) for v in trial.variables),
        conditions=tuple(replace(c, expression=new(c.expression)) for c in trial.conditions),
        outputs=tuple(replace(o, default=new(o.default)) for o in trial.outputs),
        states=tuple(
            replace(s, outputs={n: new(v) for n, v in s.outputs.items()}) for s in trial.states
        ),
        rows=tuple(row(r) for r in trial.rows),
        requirements=tuple(requirement(r) for r in trial.requirements),
    )


def offers_with_short_waits(
    vectors: Sequence[StateVectors], shortened: Sequence[Wait]
) -> tuple[StateVectors, ...]:
    """Return what to try in each state with situations as the trial with short waits has them.

    Without situations where a feature holds a timer against a constant that waits do not keep.
    """
    by_name = {wait.variable.name: wait for wait in shortened}
    return tuple(_offer(state, by_name) for state in vectors)


def _offer(offered: StateVectors, by_name: Mapping[str, Wait]) -> StateVectors:
    if offered.situations is None:
        return offered
    features = offered.situations.features
    if not all(_kept(feature, by_name) for feature in features):
        return replace(offered, situations=None, enough=())
    short = Situations(tuple(_rewritten(feature, by_name) for feature in features))
    return replace(offered, situations=short)


def _kept(feature: Expression, by_name: Mapping[str, Wait]) -> bool:
    """Return whether every constant that a timer is held against is a point of its own."""
    for name, wait in by_name.items():
        found: set[int] = set()
        if not _compared(feature, name, found) or not found <= set(wait.points):
            return False
    return True


def distinct_with_short_waits(trial: Trial, codes: np.ndarray, shortened: Sequence[Wait]) -> int:
    """Return how many different states codes (see ``encoding``) are once waits are shortened."""
    encoding = encoding_of(trial)
    codes = codes.copy()
    for wait in shortened:
        number = trial.variables.index(wait.variable)
        place = encoding.order.index(number)
        size = np.uint64(encoding.sizes[place])
        weight = np.uint64(int(np.prod([1, *encoding.sizes[place + 1 :]], dtype=object)))
        digits = (codes // weight) % size
        codes -= digits * weight
        codes += wait.digits(digits) * weight
    return len(np.unique(codes))


def _wait(variable: Variable, constants: Sequence[int]) -> Wait:
    ends = (variable.low, variable.initial, variable.high)
    inside = (value for value in constants if variable.low <= value <= variable.high)
    points = sorted({*ends, *inside})
    short = [variable.low]
    for before, after in pairwise(points):
        short.append(short[-1] + min(after - before - 1, _KEPT) + 1)
    return Wait(variable, tuple(points), tuple(short))


def _variable(variable: Variable, wait: Wait | None) -> Variable:
    if wait is None:
        return variable
    low, initial, high = map(wait.shortened, (variable.low, variable.initial, variable.high))
    return replace(variable, low=low, initial=initial, high=high)


def _constants(trial: Trial, variable: Variable) -> set[int] | None:
    """Return the constants that a timer meets; None if the variable is no timer."""
    found: set[int] = set()
    for row in trial.rows:
        value = row.actions.get(variable.name)
        if value is not None and not _is_advance(value, variable.name, found):
            return None
    formulas = _formulas(trial, variable.name)
    return found if all(_compared(f, variable.name, found) for f in formulas) else None


def _formulas(trial: Trial, name: str) -> Iterator[Expression]:
    """Yield every expression but the new values of one variable."""
    yield from (condition.expression for condition in trial.conditions)
    yield from (output.default for output in trial.outputs)
    yield from (value for state in trial.states for value in state.outputs.values())
    yield from (v for row in trial.rows for n, v in row.actions.items() if n != name)
    for requirement in trial.requirements:
        yield requirement.formula
        if requirement.trigger is not None:
            yield requirement.trigger


def _is_advance(value: Expression, name: str, found: set[int]) -> bool:
    """Return whether a new value is a constant, the old value, or one more up to a constant."""
    match value:
        case Integer(constant, _):
            found.add(constant)
            return True
        case Reference(read, False):
            return read == name
        case Binary(Operator.ADD, Reference(read, False), Integer(1, _)):
            return read == name
        case Binary(Operator.MINIMUM, Binary() as raised, Integer(constant, _)):
            found.add(constant)
            return _is_advance(raised, name, found)
    return False


def _compared(formula: Expression, name: str, found: set[int]) -> bool:
    """Return whether a formula reads a timer in the ways that are allowed."""
    match formula:
        case Reference(read, _):
            return read != name
        case Binary(operator, Reference(read, _), Integer(constant, _)) if (
            read == name and operator in COMPARISONS
        ):
            found.add(constant)
            return True
        case Binary(operator, Integer(constant, _), Reference(read, _)) if (
            read == name and operator in COMPARISONS
        ):
            found.add(constant)
            return True
        case Binary(Operator.EQUAL, Reference(read, True), value) if read == name:
            return _is_advance(value, name, found)
    return all(_compared(part, name, found) for part in children(formula))


def _assigned(value: Expression, wait: Wait) -> Expression:
    match value:
        case Integer(constant, _):
            return Integer(wait.shortened(constant))
        case Binary(Operator.MINIMUM, raised, Integer(constant, _)):
            return Binary(Operator.MINIMUM, raised, Integer(wait.shortened(constant)))
    return value


def _rewritten(formula: Expression, by_name: Mapping[str, Wait]) -> Expression:
    match formula:
        case Binary(operator, Reference(read, _) as side, Integer(value, _)) if read in by_name:
            return Binary(operator, side, Integer(by_name[read].shortened(value)))
        case Binary(operator, Integer(value, _), Reference(read, _) as side) if read in by_name:
            return Binary(operator, Integer(by_name[read].shortened(value)), side)
        case Binary(Operator.EQUAL, Reference(read, True) as side, value) if read in by_name:
            return Binary(Operator.EQUAL, side, _assigned(value, by_name[read]))
        case Unary(operator, operand):
            return Unary(operator, _rewritten(operand, by_name))
        case Binary(operator, left, right):
            return Binary(operator, _rewritten(left, by_name), _rewritten(right, by_name))
        case Choice(condition, one, other):
            parts = (_rewritten(part, by_name) for part in (condition, one, other))
            return Choice(*parts)
    return formula
