"""What interval arithmetic shows: values fit 32 bits, and outputs stay in their ranges.

A solver is asked the same of the translation to SMT-LIB; this is over the trees themselves, by the
bounds that each operator gives, so neither notices the other's mistakes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from gainwright.language.expression import Expression
from gainwright.language.model import Trial
from gainwright.language.scope import ANY_BOOLEAN, Bounds, Scope
from gainwright.language.typing import infer
from gainwright.language.write import write
from gainwright_proof.exploration.subjects import NO_OVERFLOW, RANGES
from gainwright_proof.methods import INTERVALS
from gainwright_proof.verdict import Finding, Verdict

_NAMED = 3


def interval_findings(trial: Trial) -> list[Finding]:
    """Return what the bounds of all expressions say; where they say nothing, the detail does."""
    return [
        _finding(NO_OVERFLOW, _may_overflow(trial), "Every intermediate value fits 32 bits signed"),
        _finding(RANGES, _may_leave(trial), "Variables stop at the ends of their ranges, and "
                 "outputs stay in theirs"),
    ]  # fmt: skip


def _finding(subject: str, doubtful: Iterable[str], claim: str) -> Finding:
    doubts = list(dict.fromkeys(doubtful))
    if not doubts:
        text = f"{claim}, by the bounds of every operator."
        return Finding(subject, INTERVALS, Verdict.PROVED, text)
    more = f" and {len(doubts) - _NAMED} more" if len(doubts) > _NAMED else ""
    text = f"The bounds of operators do not show it for {'; '.join(doubts[:_NAMED])}{more}."
    return Finding(subject, INTERVALS, Verdict.UNFINISHED, text)


def scope_of(trial: Trial) -> Scope:
    """Return all that a formula may read, with ranges."""
    signals = (*trial.inputs, *trial.variables, *trial.outputs)
    after = (*trial.variables, *trial.outputs)
    readable = {s.name: Bounds(s.kind, s.low, s.high) for s in signals}
    return Scope(
        readable | {condition.name: ANY_BOOLEAN for condition in trial.conditions},
        {s.name: Bounds(s.kind, s.low, s.high) for s in after},
        tuple(state.name for state in trial.states),
    )


def _may_overflow(trial: Trial) -> Iterator[str]:
    scope = scope_of(trial)
    for expression in _expressions(trial):
        if infer(expression, scope)[1]:
            yield write(expression)


def _expressions(trial: Trial) -> Iterator[Expression]:
    yield from (condition.expression for condition in trial.conditions)
    yield from (value for row in trial.rows for value in row.actions.values())
    yield from (state.value_of(output) for state in trial.states for output in trial.outputs)
    for requirement in trial.requirements:
        yield requirement.formula
        if requirement.trigger is not None:
            yield requirement.trigger


def _may_leave(trial: Trial) -> Iterator[str]:
    scope = scope_of(trial)
    for variable in trial.variables:
        if not variable.low <= variable.initial <= variable.high:
            yield f"{variable.name} at first"
    for state in trial.states:
        for output in trial.outputs:
            bounds, _ = infer(state.value_of(output), scope)
            if bounds is None or bounds.low < output.low or bounds.high > output.high:
                yield f"{output.name} in {state.name}"
