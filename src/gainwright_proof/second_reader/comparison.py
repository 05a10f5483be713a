"""Compares what the two readers of a trial file understood: trees, numbers, values and steps."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from gainwright.language.expression import (
    Binary,
    Boolean,
    Choice,
    Expression,
    InState,
    Integer,
    Operator,
    Reference,
    Unary,
    references,
    walk,
)
from gainwright.language.model import NEVER, Kind, Signal, Trial
from gainwright.language.write import write
from gainwright.semantics.evaluate import Moment, Step, evaluate_over
from gainwright.semantics.machine import NotSingleHitError, ReferenceMachine
from gainwright_proof.second_reader.expressions import Term, value_of
from gainwright_proof.second_reader.reading import Reading

SEED = 5806
TICKS_PER_ROW = 40
"""Steps that both take for each row, from any moment of its state."""
SAMPLES = 24
"""Moments at which each expression is evaluated by both."""
_BIASES = (0.1, 0.5, 0.9)
"""How often booleans are true: a conjunction of many is never true at one half."""
_LEANS = (0.2, 1.0, 5.0)
"""Towards large, any, or small values of integers, for the same reason."""
Pairs = list[tuple[str, Expression, Term]]


def differences(trial: Trial, reading: Reading) -> Iterator[str]:
    """Yield every difference between the trial of the first reader and that of the second."""
    yield from _different_numbers(trial, reading)
    pairs = _paired(trial, reading)
    for place, expression, term in pairs:
        if first_term(expression) != term:
            yield f"{place}: the first reader has {write(expression)}, the second {term}"
    # Values and steps are only comparable where the names are the same.
    if not list(_different_names(trial, reading)):
        yield from _Samples(trial, reading).different(pairs)


def expression_count(trial: Trial) -> int:
    """Return how many expressions are compared."""
    return len(list(_expressions(trial)))


def first_term(expression: Expression) -> Term:
    """Return the tree of the first reader in the form of the second."""
    match expression:
        case Integer(value, name):
            return ("name", name) if name else ("integer", value)
        case Boolean(value):
            return ("true",) if value else ("false",)
        case Reference(name, after):
            return ("next_name", name) if after else ("name", name)
        case InState(states, after):
            inside = ("in_state", *states)
            return ("next_state", inside) if after else inside
        case Unary(Operator.NEGATE, operand):
            inner = first_term(operand)
            return ("integer", -inner[1]) if inner[0] == "integer" else ("negate", inner)
        case Unary(operator, operand):
            return operator.name.lower(), first_term(operand)
        case Binary(operator, left, right):
            return operator.name.lower(), first_term(left), first_term(right)
        case Choice(condition, consequence, alternative):
            return ("choice", *map(first_term, (condition, consequence, alternative)))


def _expressions(trial: Trial) -> Iterator[tuple[tuple[str, ...], Expression]]:
    """Yield every expression of a trial with its place as a path."""
    for output in trial.outputs:
        yield ("outputs", output.name), output.default
    for condition in trial.conditions:
        yield ("conditions", condition.name), condition.expression
    for state in trial.states:
        for name, value in state.outputs.items():
            yield ("states", state.name, name), value
    for row in trial.rows:
        for name, value in row.actions.items():
            yield ("rows", row.id, name), value
    for requirement in trial.requirements:
        yield ("requirements", requirement.id, "formula"), requirement.formula
        if requirement.trigger is not None:
            yield ("requirements", requirement.id, "trigger"), requirement.trigger


def _terms(reading: Reading) -> dict[tuple[str, ...], Term]:
    terms: dict[tuple[str, ...], Term] = {}
    terms |= {("outputs", name): term for name, term in reading.defaults.items()}
    terms |= {("conditions", name): term for name, term in reading.conditions.items()}
    for state, outputs in reading.states.items():
        terms |= {("states", state, name): term for name, term in outputs.items()}
    for row_id, row in reading.rows.items():
        terms |= {("rows", row_id, name): term for name, term in row.actions.items()}
    for name, requirement in reading.requirements.items():
        terms["requirements", name, "formula"] = requirement.formula
        if requirement.trigger is not None:
            terms["requirements", name, "trigger"] = requirement.trigger
    return terms


def _paired(trial: Trial, reading: Reading) -> Pairs:
    terms = _terms(reading)
    return [
        (" ".join(path), expression, terms[path])
        for path, expression in _expressions(trial)
        if path in terms
    ]


def _different_names(trial: Trial, reading: Reading) -> Iterator[str]:
    first = {path for path, _ in _expressions(trial)}
    second = set(_terms(reading))
    for path in sorted(first ^ second):
        reader = "first" if path in first else "second"
        yield f"{' '.join(path)}: only the {reader} reader has it"
    groups: list[tuple[str, Sequence[Any], Mapping[str, Any]]] = [
        ("inputs", trial.inputs, reading.ranges["inputs"]),
        ("variables", trial.variables, reading.ranges["variables"]),
        ("outputs", trial.outputs, reading.ranges["outputs"]),
        ("conditions", trial.conditions, reading.conditions),
        ("states", trial.states, reading.states),
        ("stages", trial.stages, reading.stages),
    ]
    listed = [(what, [item.name for item in items], list(read)) for what, items, read in groups]
    listed.append(("rows", [row.id for row in trial.rows], list(reading.rows)))
    listed.append(("requirements", [r.id for r in trial.requirements], list(reading.requirements)))
    for what, names, read_names in listed:
        if names != read_names:
            yield f"{what}: the first reader has {names}, the second {read_names}"


def _different_numbers(trial: Trial, reading: Reading) -> Iterator[str]:
    yield from _different_names(trial, reading)
    for place, first, second in _numbers(trial, reading):
        if first != second:
            yield f"{place}: the first reader has {first}, the second {second}"


def _numbers(trial: Trial, reading: Reading) -> Iterator[tuple[str, object, object]]:
    """Yield (place, first, second) of all that is no expression."""
    yield "initial_state", trial.initial_state, reading.initial_state
    yield "tick_us", trial.tick_us, reading.tick_us
    named = {c.name: c.value for c in trial.constants}
    for enumeration in trial.enumerations:
        named |= {value.name: number for number, value in enumerate(enumeration.values)}
    yield "constants", named, dict(reading.constants)
    ends = frozenset(state.name for state in trial.states if state.end)
    yield "end states", ends, reading.ends
    groups = (("inputs", trial.inputs), ("variables", trial.variables), ("outputs", trial.outputs))
    for table, signals in groups:
        ranges = {signal.name: (signal.low, signal.high) for signal in signals}
        yield f"ranges of {table}", ranges, dict(reading.ranges[table])
    initial = {variable.name: variable.initial for variable in trial.variables}
    yield "initial values", initial, dict(reading.initial)
    for row in trial.rows:
        if (read := reading.rows.get(row.id)) is not None:
            first = (row.source, row.target, row.when, row.unless)
            yield f"row {row.id}", first, (read.source, read.target, read.when, read.unless)
    for requirement in trial.requirements:
        if (asked := reading.requirements.get(requirement.id)) is not None:
            within = None if requirement.within_ticks == NEVER else requirement.within_ticks
            first = (requirement.kind.value, within)
            yield f"requirement {requirement.id}", first, (asked.kind, asked.within_ticks)
    for stage in trial.stages:
        for key, value in reading.stages.get(stage.name, {}).items():
            yield f"stage {stage.name}, {key}", getattr(stage, key), value


class _Samples:
    """Moments and inputs at which both evaluate and step; the same ones in every run."""

    def __init__(self, trial: Trial, reading: Reading) -> None:
        self._trial = trial
        self._reading = reading
        self._draw = random.Random(SEED)
        literals = {
            part.value + step
            for _, expression in _expressions(trial)
            for part in walk(expression)
            if isinstance(part, Integer)
            for step in (-1, 0, 1)
        }
        self._values = {
            signal.name: sorted(
                {signal.low, signal.high, *(v for v in literals if _inside(v, signal))}
            )
            for signal in (*trial.inputs, *trial.variables, *trial.outputs)
        }
        self._states = [state.name for state in trial.states]

    def different(self, pairs: Pairs) -> Iterator[str]:
        for place, expression, term in pairs:
            signals, conditions = self._read_by(expression, term)
            for _ in range(SAMPLES):
                if self._evaluates_differently(expression, term, signals, conditions):
                    yield f"{place}: the two readers compute different values"
                    break
        yield from self._steps()

    def _read_by(
        self, expression: Expression, term: Term
    ) -> tuple[Sequence[Signal], Sequence[str]]:
        """Return the signals and conditions that both read: all of them where the trees differ."""
        signals = (*self._trial.inputs, *self._trial.variables, *self._trial.outputs)
        conditions = [condition.name for condition in self._trial.conditions]
        if first_term(expression) != term:
            return signals, conditions
        read = references(expression)
        return [s for s in signals if s.name in read], [c for c in conditions if c in read]

    def _evaluates_differently(
        self,
        expression: Expression,
        term: Term,
        signals: Sequence[Signal],
        conditions: Sequence[str],
    ) -> bool:
        before, after = self._drawn(signals), self._drawn(signals)
        states = self._draw.choice(self._states), self._draw.choice(self._states)
        for names in (before, after):
            names |= {name: self._draw.randint(0, 1) for name in conditions}
        first = evaluate_over(expression, Step(Moment(before, states[0]), Moment(after, states[1])))
        known = {**self._reading.constants, **before}
        return first != value_of(term, known, states[0], after, states[1])

    def _drawn(self, signals: Sequence[Signal]) -> dict[str, int]:
        bias, lean = self._draw.choice(_BIASES), self._draw.choice(_LEANS)
        return {signal.name: self._value(signal, bias, lean) for signal in signals}

    def _value(self, signal: Signal, bias: float, lean: float) -> int:
        if signal.kind is Kind.BOOLEAN:
            return int(self._draw.random() < bias)
        if self._draw.random() < 0.2:
            return self._draw.randint(signal.low, signal.high)
        values = self._values[signal.name]
        return values[int(len(values) * self._draw.random() ** lean)]

    def _steps(self) -> Iterator[str]:
        """Take the same ticks in both, from anywhere."""
        trial, machine = self._trial, ReferenceMachine(self._trial)
        for row in [row for row in trial.rows for _ in range(TICKS_PER_ROW)]:
            machine.restore(row.source, self._drawn(trial.variables))
            state, variables = machine.state, dict(machine.variables)
            if machine.outputs() != self._reading.outputs(state, variables):
                yield f"outputs in the state {state} differ at {variables}"
                return
            inputs = self._drawn(trial.inputs)
            try:
                first = machine.tick(inputs).id, machine.state, machine.variables
            except NotSingleHitError:
                first = None
            second = self._reading.step(state, variables, inputs)
            if first != second:
                yield (
                    f"a tick in the state {state} at {variables} with {inputs}: the first reader "
                    f"goes to {first}, the second to {second}"
                )
                return


def _inside(value: int, signal: Signal) -> bool:
    return signal.low <= value <= signal.high
