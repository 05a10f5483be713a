"""Holds the SMT translation against the reference on ticks that are drawn.

Both sides of an obligation come from one translation: an operator that it gets wrong may still be
proved. So the terms that z3 parsed are evaluated on concrete moments and inputs, and compared with
the reference machine and the plain evaluation of every requirement. A test, no proof.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import z3

from gainwright.language.critical_values import critical_values
from gainwright.language.expression import Expression, children
from gainwright.language.model import Kind, RequirementKind, Signal, Trial
from gainwright.language.scope import Bounds
from gainwright.language.write import write
from gainwright.semantics.evaluate import Moment, Step, evaluate_over
from gainwright.semantics.machine import NotSingleHitError, ReferenceMachine
from gainwright_proof.exploration.subjects import TRANSLATION
from gainwright_proof.induction.step import StepEncoding, sort
from gainwright_proof.induction.terms import StepTerms
from gainwright_proof.verdict import Finding, Verdict

MOMENTS_PER_STATE = 6
SEED = 20_261_126
_ONE_TICK = (RequirementKind.STEP, RequirementKind.INVARIANT)


@dataclass(frozen=True, slots=True)
class _Tick:
    """A drawn moment with inputs, and what the reference does."""

    state: str
    values: Mapping[str, int]
    """Of variables and inputs."""
    step: Step | None
    """What formulas may read; None if not exactly one row holds."""


def translation_finding(step: StepEncoding, terms: StepTerms, method: str) -> Finding:
    """Return whether the translation agrees with the reference on every tick drawn."""
    trial = step.trial
    # Conditions too: in a row the one with precedence hides what another one says.
    formulas = {c.name: c.expression for c in trial.conditions}
    formulas |= {r.id: r.formula for r in trial.requirements if r.kind in _ONE_TICK}
    judge = _Judge(step, terms, formulas)
    count = 0
    for tick in _drawn(trial):
        count += 1
        if wrong := judge.difference(tick):
            held = ", ".join(f"{name} = {value}" for name, value in tick.values.items())
            detail = f"{wrong} is translated otherwise than it is meant: in {tick.state}, {held}."
            return Finding(TRANSLATION, method, Verdict.REFUTED, detail)
    detail = (
        f"On {count} ticks drawn over all ranges (seed {SEED}) the translated table, actions and "
        f"{len(formulas)} conditions and formulas, and all values that rows write, give what the "
        "reference gives."
    )
    return Finding(TRANSLATION, method, Verdict.TESTED, detail, figures={"ticks": count})


class _Judge:
    def __init__(
        self, step: StepEncoding, terms: StepTerms, formulas: Mapping[str, Expression]
    ) -> None:
        self._terms, self._trial, self._formulas = terms, step.trial, formulas
        variables = step.trial.variables
        # Written values also where their row is not taken: few ticks drawn take any given row.
        self._written = _integers_written(step.trial)
        looked_at = [
            *terms.parse([step.one_row]),
            *terms.values(
                [
                    (step.state(after=True), step.state_sort),
                    *((step.value(v.name, True), sort(v)) for v in variables),
                ]
            ),
            *terms.integers(self._written),
            *terms.parse([step.formula(f) for f in formulas.values()]),
        ]
        # One term of all of them: what they share is looked at once a tick.
        kinds = [term.sort() for term in looked_at]
        self._all = z3.Function("looked_at", *kinds, z3.BoolSort())(*looked_at)

    def difference(self, tick: _Tick) -> str:
        """Return what differs on a tick; empty if nothing does."""
        found = self._found(tick)
        if next(found) != (tick.step is not None):
            return "the table"
        if tick.step is None:
            return ""  # formulas are about ticks
        if self._trial.states[next(found)].name != tick.step.after.state:
            return "the next state"
        for variable in self._trial.variables:
            if next(found) != tick.step.after.values[variable.name]:
                return f"the new value of {variable.name}"
        for value in self._written:
            if next(found) != evaluate_over(value, tick.step):
                return f"the value {write(value)}"
        for name, formula in self._formulas.items():
            if next(found) != evaluate_over(formula, tick.step):
                return f"the formula of {name}"
        return ""

    def _found(self, tick: _Tick) -> Iterator[int]:
        """Yield the value at a tick of each term that is looked at."""
        pairs = [(self._terms.state, self._bits(tick.state))]
        for signal in self._terms.signals:
            value = tick.values[signal.name]
            boolean = signal.kind is Kind.BOOLEAN
            constant = z3.BoolVal(bool(value)) if boolean else z3.BitVecVal(value, 32)
            pairs.append((self._terms.constants[signal.name], constant))
        computed = z3.simplify(z3.substitute(self._all, *pairs)).children()
        for place, value in enumerate(computed):
            if z3.is_bool(value):
                yield int(z3.is_true(value))
            else:  # the number of a state, which comes second, has no sign
                yield value.as_long() if place == 1 else value.as_signed_long()

    def _bits(self, state: str) -> z3.BitVecNumRef:
        return z3.BitVecVal(self._trial.index.states[state], self._terms.step.state_bits)


def _integers_written(trial: Trial) -> list[Expression]:
    """Return the different integer values that rows write, constants and copies left out."""
    integers = {v.name for v in trial.variables if v.kind is Kind.INTEGER}
    values = (v for row in trial.rows for n, v in row.actions.items() if n in integers)
    return list(dict.fromkeys(v for v in values if children(v)))


def _drawn(trial: Trial) -> Iterator[_Tick]:
    """Yield ticks from every state: each value at an end, at a threshold or beside it, or any.

    Beside even thresholds, odd values carry from bit to bit when one is added.
    """
    draw = random.Random(SEED)
    signals = (*trial.variables, *trial.inputs)
    bounds = {s.name: Bounds(s.kind, s.low, s.high) for s in signals}
    expressions = [condition.expression for condition in trial.conditions]
    choices = {s.name: critical_values(s.name, expressions, bounds) for s in signals}
    machine = ReferenceMachine(trial)
    for state in trial.states:
        for _ in range(MOMENTS_PER_STATE):
            values = {
                name: draw.choice((*those, draw.randint(bounds[name].low, bounds[name].high)))
                for name, those in choices.items()
            }
            yield _ticked(machine, state.name, values)


def _ticked(machine: ReferenceMachine, state: str, values: Mapping[str, int]) -> _Tick:
    trial = machine.trial

    def of(signals: tuple[Signal, ...]) -> dict[str, int]:
        return {signal.name: values[signal.name] for signal in signals}

    machine.restore(state, of(trial.variables))
    before = {**values, **machine.outputs()}
    for condition in trial.conditions:
        before[condition.name] = evaluate_over(condition.expression, Step(Moment(before)))
    try:
        machine.tick(of(trial.inputs))
    except NotSingleHitError:
        return _Tick(state, values, None)
    after = Moment({**machine.variables, **machine.outputs()}, machine.state)
    return _Tick(state, values, Step(Moment(before, state), after))
