"""Samples in which each part of a condition decides alone.

Around a sample every value changes by itself (:mod:`rows_c`). So a part of a condition is seen to
decide where changing it alone would change the condition: modified condition and decision coverage
(as DO-178C, 6.4.4.2 c, defines it; from memory), of what the rows' own samples leave out.
A condition that names others is looked at twice: with each of them as one part, and with what they
compare in their places.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from gainwright.language.expression import Binary, Expression, Operator, Reference, Unary
from gainwright.language.model import Trial
from gainwright.semantics.python_code import CodeWriter
from gainwright_codegen.bundle.golden.domain import (
    Compared,
    any_values,
    input_domain,
    variable_domain,
)
from gainwright_codegen.bundle.golden.explorer import Explorer
from gainwright_codegen.bundle.golden.sample import Sample
from gainwright_codegen.trial_c.condition_bits import condition_bits

_TRIES = 400
_JOINS = (Operator.AND, Operator.OR)


@dataclass(frozen=True, slots=True)
class Decision:
    """An expression and its parts, true or false each."""

    expression: Expression
    """Others may stand in it in full."""
    parts: tuple[Expression, ...]
    seen: dict[tuple[bool, ...], tuple[int, ...]] = field(default_factory=dict)

    def deciding(self, values: tuple[bool, ...]) -> tuple[int, ...]:
        """Return the parts whose change alone would change the condition."""
        if values not in self.seen:
            self.seen[values] = tuple(self._found(values))
        return self.seen[values]

    def _found(self, values: tuple[bool, ...]) -> Iterator[int]:
        result = _joined(self.expression, iter(values))
        for number, value in enumerate(values):
            changed = (*values[:number], not value, *values[number + 1 :])
            if _joined(self.expression, iter(changed)) != result:
                yield number


def _in_full(trial: Trial) -> dict[str, Expression]:
    """Return the expression of each condition with those of others in place of their names."""
    full = dict[str, Expression]()
    for condition in trial.conditions:
        full[condition.name] = _with_others(condition.expression, full)
    return full


def _with_others(expression: Expression, full: Mapping[str, Expression]) -> Expression:
    match expression:
        case Reference(name, False) if name in full:
            return full[name]
        case Unary(operator, operand):
            return Unary(operator, _with_others(operand, full))
        case Binary(operator, left, right) if operator in _JOINS:
            return Binary(operator, _with_others(left, full), _with_others(right, full))
    return expression


def parts_of(expression: Expression) -> tuple[Expression, ...]:
    """Return the parts from left to right. One that stands in two places is two parts: each place
    must be seen to decide."""
    match expression:
        case Unary(Operator.NOT, operand):
            return parts_of(operand)
        case Binary(operator, left, right) if operator in _JOINS:
            return (*parts_of(left), *parts_of(right))
    return (expression,)


def _joined(expression: Expression, values: Iterator[bool]) -> bool:
    """Return what the parts' values, from left to right, make of an expression."""
    match expression:
        case Unary(Operator.NOT, operand):
            return not _joined(operand, values)
        case Binary(operator, left, right) if operator in _JOINS:
            both = _joined(left, values), _joined(right, values)
            return all(both) if operator is Operator.AND else any(both)
    return next(values)


def writer(trial: Trial) -> CodeWriter:
    """Return what makes functions of expressions over the variables and inputs of a trial."""
    booleans = frozenset(s.name for s in (*trial.variables, *trial.inputs) if s.high == 1)
    states = [state.name for state in trial.states]
    return CodeWriter(states, trial.conditions, boolean_names=booleans)


class Decisions:
    """Finds, for one trial, samples for the parts that other samples do not show."""

    def __init__(self, trial: Trial, explorer: Explorer, source: random.Random) -> None:
        self._trial, self._explorer, self._source = trial, explorer, source
        bits = condition_bits(trial)
        self._domains = (*variable_domain(trial), *input_domain(trial))
        self._compared = Compared(trial)
        self._names = [signal.name for signal in (*trial.variables, *trial.inputs)]
        self._looked_at = {state.name: set(bits.looked_at(state.name)) for state in trial.states}
        conditions = [c for c in trial.conditions if c.name in bits.used]
        trees = _in_full(trial)
        forms = ((c, e) for c in conditions for e in dict.fromkeys((c.expression, trees[c.name])))
        found = [(c.name, Decision(e, parts)) for c, e in forms if len(parts := parts_of(e)) > 1]
        self._conditions = [name for name, _ in found]
        self._decisions = [decision for _, decision in found]
        self._values = [writer(trial).function(decision.parts) for decision in self._decisions]

    def samples(self, others: Iterable[tuple[int, Sample]]) -> Iterator[tuple[int, Sample]]:
        """Yield rows by number with a sample each that shows a part more."""
        shown = {key for _, sample in others for key in self._shown(sample)}
        for number, decision in enumerate(self._decisions):
            for part in range(len(decision.parts)):
                if (number, part) not in shown and (found := self._search((number, part))):
                    shown |= set(self._shown(found))
                    self._explorer.memory = found.start
                    yield self._explorer.take(found.inputs), found

    def _shown(self, sample: Sample) -> Iterator[tuple[int, int]]:
        """Yield decisions and their parts that decide in a sample, where its state looks."""
        for number in range(len(self._decisions)):
            for part in self._deciding(number, sample):
                yield number, part

    def _deciding(self, number: int, sample: Sample) -> Iterator[int]:
        """Yield the parts of one decision that decide in a sample, if its state looks at it."""
        state, decision = sample.start[0], self._decisions[number]
        if self._conditions[number] not in self._looked_at[self._trial.states[state].name]:
            return
        values = dict(zip(self._names, (*sample.start[1:], *sample.inputs), strict=True))
        yield from decision.deciding(
            tuple(map(bool, self._values[number](values, state, values, state)))
        )

    def _search(self, wanted: tuple[int, int]) -> Sample | None:
        """Return a sample in which a part decides, or None where chance does not find one."""
        name = self._conditions[wanted[0]]
        states = [k for k, s in enumerate(self._trial.states) if name in self._looked_at[s.name]]
        near = self._near(name)
        count = len(self._trial.variables)
        for attempt in range(_TRIES):
            values = any_values(near, self._source)
            state = states[attempt % len(states)]
            sample = Sample((state, *values[:count]), values[count:])
            if wanted[1] in self._deciding(wanted[0], sample):
                return sample
        return None

    def _near(self, name: str) -> tuple[tuple[int, ...], ...]:
        """Return for each signal what it is compared with in a condition, else anything."""
        near = self._compared.near([name])
        return tuple(near.get(place, domain) for place, domain in enumerate(self._domains))
