"""Mutants of the numbers in conditions: each one more, and one less."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from gainwright.language.expression import (
    Binary,
    Choice,
    Expression,
    Integer,
    Unary,
    references,
    walk,
)
from gainwright.language.model import Condition, Row, Trial
from gainwright.language.scope import ANY_BOOLEAN, Bounds, Scope
from gainwright.language.typing import infer
from gainwright_proof.mutants.mutant import Mutant, MutationKind


def threshold_mutants(trial: Trial) -> Iterator[Mutant]:
    """Yield the mutants with one number of one condition off by one.

    Conditions that no row looks at are left alone, and so are numbers that could not be written
    that way, since some value would leave 32 bits or a shift its range.
    """
    signals = {s.name: Bounds(s.kind, s.low, s.high) for s in (*trial.inputs, *trial.variables)}
    scope = Scope(signals | {c.name: ANY_BOOLEAN for c in trial.conditions})
    for condition in trial.conditions:
        if not affected_rows(trial, condition.name):
            continue
        numbers = [part for part in walk(condition.expression) if isinstance(part, Integer)]
        labels = [number.name or str(number.value) for number in numbers]
        for place, (number, label) in enumerate(zip(numbers, labels, strict=True)):
            if labels.count(label) > 1:
                label = f"{label}/{labels[:place].count(label) + 1}"
            for step in (+1, -1):
                changed = off_by_one(condition.expression, place, step)
                if not infer(changed, scope)[1]:
                    new = replace(condition, expression=changed)
                    yield _mutant(trial, new, number, label, step)


def affected_rows(trial: Trial, condition: str) -> tuple[Row, ...]:
    """Return the rows that look at a condition, also through other conditions."""
    reading = {condition}
    for other in trial.conditions:  # a condition reads those above it only
        if references(other.expression) & reading:
            reading.add(other.name)
    return tuple(row for row in trial.rows if reading.intersection(row.when + row.unless))


def states_of(trial: Trial, rows: tuple[Row, ...]) -> tuple[str, ...]:
    """Return the states of rows in the order of the trial."""
    sources = {row.source for row in rows}
    return tuple(state.name for state in trial.states if state.name in sources)


def _mutant(trial: Trial, condition: Condition, number: Integer, label: str, step: int) -> Mutant:
    rows = affected_rows(trial, condition.name)
    said = f"{number.name} = {number.value}" if number.name else str(number.value)
    detail = "plus_one" if step > 0 else "minus_one"
    return Mutant(
        f"{MutationKind.THRESHOLD_OFF.value}/{condition.name}/{label}/{detail}",
        MutationKind.THRESHOLD_OFF,
        tuple(row.id for row in rows),
        states_of(trial, rows),
        f"condition '{condition.name}' compares with {number.value + step} instead of {said}",
        new_conditions={condition.name: condition},
    )


def off_by_one(expression: Expression, place: int, step: int) -> Expression:
    """Return the expression with its integer literal number ``place`` (from 0) raised by a step.

    The new literal has no name: the constant of that name keeps its value everywhere else.
    """
    match expression:
        case Integer(value, _):
            return Integer(value + step) if place == 0 else expression
        case Unary(operator, operand):
            return Unary(operator, off_by_one(operand, place, step))
        case Binary(operator, left, right):
            return Binary(operator, *_each_off((left, right), place, step))
        case Choice(condition, consequence, alternative):
            return Choice(*_each_off((condition, consequence, alternative), place, step))
    return expression


def _each_off(parts: tuple[Expression, ...], place: int, step: int) -> Iterator[Expression]:
    for part in parts:
        yield off_by_one(part, place, step) if place >= 0 else part
        place -= sum(isinstance(inside, Integer) for inside in walk(part))
