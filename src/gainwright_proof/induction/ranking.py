"""Ranks: how many ticks a moment can be away from a goal, as a sum over its variables.

A rank is a function of the state and of the variables in it: a constant, plus a whole number times
each of some features. Those whose value falls with every tick bound the time that is left.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum

from gainwright.language.expression import (
    Binary,
    Boolean,
    Choice,
    Expression,
    Integer,
    Operator,
    Reference,
    Unary,
    references,
    walk,
)
from gainwright.language.model import Kind, Trial, Variable
from gainwright.language.scope import INT32_HIGH
from gainwright.semantics.python_code import CodeWriter

MOST_STEPS = 64
"""A feature counts at most so many whole steps."""

Values = Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Feature:
    """A quantity that a rank may depend on."""

    expression: Expression
    title: str
    largest: int
    """Greatest absolute value."""


class Detail(IntEnum):
    """How much a rank may look at; less is tried first."""

    TIMERS = 0
    """Integers that count up by one while the trial stays in a state."""
    CHANGED = 1
    """All variables that change on the way; tried where these are the fewer."""
    VARIABLES = 2
    """All variables."""
    STEPS = 3
    """Also whole steps of those that jump by steps: a variable that is lowered by c at a time can
    be lowered about v / c times more, or once more from where a condition allows a shorter step."""


def features(trial: Trial, detail: Detail, free: Container[str]) -> list[Feature]:
    """Return what the rank of a state may depend on; ``free`` are variables worth looking at."""
    timers = _timers(trial)
    found = []
    for variable in trial.variables:
        if variable.name not in free or (detail is Detail.TIMERS and variable.name not in timers):
            continue
        if variable.kind is Kind.BOOLEAN:
            count = Choice(Reference(variable.name), Integer(1), Integer(0))
            found.append(Feature(count, f"({variable.name})", 1))
            continue
        largest = max(abs(variable.low), abs(variable.high))
        found.append(Feature(Reference(variable.name), variable.name, largest))
        if detail is Detail.STEPS:
            found += [
                _whole_steps(variable, size, first)
                for size in _step_sizes(trial, variable)
                for first in _first_steps(trial, variable, size)
            ]
    return found


def free_variables(trial: Trial, facts: Iterable[Expression]) -> frozenset[str]:
    """Return the variables of a state that the facts do not fix or tie to an earlier one."""
    tied = {}
    for fact in facts:
        match fact:
            case Reference(name) | Unary(Operator.NOT, Reference(name)):
                tied[name] = ""
            case Binary(Operator.EQUAL, Reference(name), Integer() | Boolean()):
                tied[name] = ""
    order = [variable.name for variable in trial.variables]
    for fact in facts:
        match fact:
            case Binary(Operator.EQUAL, left, right):
                names = sorted(references(fact), key=order.index)
                if len(names) == 2 and not tied.keys() & set(names) and _linear(left, right):
                    tied[names[1]] = names[0]
    return frozenset(order) - tied.keys()


def _linear(*sides: Expression) -> bool:
    return all(
        isinstance(part, Reference | Integer)
        or (isinstance(part, Binary) and part.operator in (Operator.ADD, Operator.SUBTRACT))
        for side in sides
        for part in walk(side)
    )


def _timers(trial: Trial) -> frozenset[str]:
    return frozenset(
        name
        for row in trial.rows
        if row.source == row.target
        for name, value in row.actions.items()
        if value in (_successor(name), _successor(name, first=Integer(1)))
    )


def _successor(name: str, first: Expression | None = None) -> Expression:
    if first is not None:
        return Binary(Operator.ADD, first, Reference(name))
    return Binary(Operator.ADD, Reference(name), Integer(1))


def _step_sizes(trial: Trial, variable: Variable) -> list[int]:
    sizes: dict[int, None] = {}
    for row in trial.rows:
        match row.actions.get(variable.name):
            case Binary(Operator.ADD | Operator.SUBTRACT, _, Integer(size, _)) if (
                size > 1 and (variable.high - variable.low) // size <= MOST_STEPS
            ):
                sizes[size] = None
    return list(sizes)


def _first_steps(trial: Trial, variable: Variable, size: int) -> list[int]:
    """Return from which values on a step may count: a whole one, or where a condition draws a line
    below it."""
    lines: dict[int, None] = {variable.low + size: None}
    for condition in trial.conditions:
        for part in walk(condition.expression):
            match part:
                case Binary(Operator.GREATER_EQUAL, Reference(name), Integer(line, _)) if (
                    name == variable.name and variable.low < line < variable.low + size
                ):
                    lines[line] = None
    return list(lines)


def _whole_steps(variable: Variable, size: int, first: int) -> Feature:
    """Return how many steps of a size lie below a value, the first of them ending at ``first``:
    floor((v - first) / size) + 1, at least 0, written without a division."""
    ends = range(first, variable.high + 1, size)
    count: Expression = Integer(0)
    for steps, end in enumerate(ends, 1):
        reached = Binary(Operator.GREATER_EQUAL, Reference(variable.name), Integer(end))
        count = Choice(reached, Integer(steps), count)
    offset = size - first
    shift = f" {'+' if offset > 0 else '-'} {abs(offset)}" if offset else ""
    return Feature(count, f"floor(({variable.name}{shift}) / {size})", len(ends))


@dataclass(frozen=True, slots=True)
class Term:
    feature: Feature
    factor: int


@dataclass(frozen=True, slots=True)
class StateRank:
    """The rank of moments in one state."""

    constant: int
    terms: tuple[Term, ...]

    @property
    def expression(self) -> Expression:
        total: Expression = Integer(self.constant)
        for term in self.terms:
            operator = Operator.ADD if term.factor > 0 else Operator.SUBTRACT
            part = term.feature.expression
            if abs(term.factor) != 1:
                part = Binary(Operator.MULTIPLY, Integer(abs(term.factor)), part)
            total = Binary(operator, total, part)
        return total

    def factor(self, feature: Feature) -> int:
        return next((term.factor for term in self.terms if term.feature == feature), 0)

    @property
    def fits(self) -> bool:
        """Whether no intermediate value leaves 32 bits, wherever the variables are."""
        most = abs(self.constant) + sum(abs(t.factor) * t.feature.largest for t in self.terms)
        return most <= INT32_HIGH

    def __str__(self) -> str:
        text = str(self.constant)
        for term in self.terms:
            factor = "" if abs(term.factor) == 1 else f"{abs(term.factor)} * "
            text += f" {'+' if term.factor > 0 else '-'} {factor}{term.feature.title}"
        return text


Ranks = Mapping[str, StateRank]
"""State name to rank."""


def feature_function(listed: Sequence[Feature]) -> Callable[[Values], tuple[int, ...]]:
    """Return a function from the variables to the values of all features."""
    check = CodeWriter([], ()).function([feature.expression for feature in listed])
    return lambda values: check(values, 0, {}, 0)
