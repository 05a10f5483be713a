"""Mutants of what a row does: an action dropped, doubled or off by one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

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
)
from gainwright.language.model import Kind, Row, Trial, Variable
from gainwright.language.scope import Bounds, Scope
from gainwright.language.typing import infer
from gainwright.language.write import write
from gainwright_proof.mutants.mutant import Mutant, MutationKind


def action_mutants(trial: Trial) -> Iterator[Mutant]:
    """Yield the mutants with one assignment of one row dropped, doubled or off, kind by kind."""
    variables = {variable.name: variable for variable in trial.variables}
    for row in trial.rows:
        for name in row.actions:
            yield _dropped(row, name)
    for row in trial.rows:
        for name in row.actions:
            if name in references(row.actions[name]):
                yield _doubled(row, variables[name])
    signals = (*trial.inputs, *trial.variables)
    scope = Scope({s.name: Bounds(s.kind, s.low, s.high) for s in signals})
    for row in trial.rows:
        for name in row.actions:
            yield from _off(row, variables[name], scope)


def _dropped(row: Row, name: str) -> Mutant:
    actions = {other: value for other, value in row.actions.items() if other != name}
    return Mutant(
        f"{MutationKind.ACTION_DROPPED.value}/{row.id}/{name}",
        MutationKind.ACTION_DROPPED,
        (row.id,),
        (row.source,),
        f"row '{row.id}' leaves '{name}' as it is, instead of {write(row.actions[name])}",
        {row.id: replace(row, actions=actions)},
    )


def _doubled(row: Row, variable: Variable) -> Mutant:
    once = row.actions[variable.name]
    twice = _substituted(once, variable.name, _limited(once, variable))
    change = f"row '{row.id}' assigns {write(once)} to '{variable.name}' twice in the tick"
    return _assigning(MutationKind.ACTION_DOUBLED, row, variable.name, "", twice, change)


def _off(row: Row, variable: Variable, scope: Scope) -> Iterator[Mutant]:
    value, name = row.actions[variable.name], variable.name
    if variable.kind is Kind.BOOLEAN:
        opposite = _denied(value)
        change = f"row '{row.id}' sets '{name}' to {write(opposite)} instead of {write(value)}"
        yield _assigning(MutationKind.ACTION_OFF, row, name, "/opposite", opposite, change)
        return
    for step, detail in ((1, "/plus_one"), (-1, "/minus_one")):
        if isinstance(value, Integer):
            if not variable.low <= value.value + step <= variable.high:
                continue  # saturates to the same value, or was beyond the range before
            new: Expression = Integer(value.value + step)
        else:
            new = Binary(Operator.ADD if step > 0 else Operator.SUBTRACT, value, Integer(1))
            if infer(new, scope)[1]:
                continue  # does not fit 32 bits
        change = f"row '{row.id}' sets '{name}' to {write(new)} instead of {write(value)}"
        yield _assigning(MutationKind.ACTION_OFF, row, name, detail, new, change)


def _assigning(
    kind: MutationKind, row: Row, name: str, detail: str, value: Expression, change: str
) -> Mutant:
    new = replace(row, actions={**row.actions, name: value})
    mutant_id = f"{kind.value}/{row.id}/{name}{detail}"
    return Mutant(mutant_id, kind, (row.id,), (row.source,), change, {row.id: new})


def _limited(value: Expression, variable: Variable) -> Expression:
    """Return what the variable holds after the assignment, which stops at the range."""
    if variable.kind is Kind.BOOLEAN:
        return value
    below_high = Binary(Operator.MINIMUM, value, Integer(variable.high))
    return Binary(Operator.MAXIMUM, below_high, Integer(variable.low))


def _denied(value: Expression) -> Expression:
    match value:
        case Boolean(boolean):
            return Boolean(not boolean)
        case Unary(Operator.NOT, operand):
            return operand
    return Unary(Operator.NOT, value)


def _substituted(expression: Expression, name: str, value: Expression) -> Expression:
    match expression:
        case Reference(read, _) if read == name:
            return value
        case Unary(operator, operand):
            return Unary(operator, _substituted(operand, name, value))
        case Binary(operator, left, right):
            sides = (_substituted(side, name, value) for side in (left, right))
            return Binary(operator, *sides)
        case Choice(condition, consequence, alternative):
            parts = (condition, consequence, alternative)
            return Choice(*(_substituted(part, name, value) for part in parts))
    return expression
