"""Samples in which each part of a test in an action decides alone, as :mod:`decisions` has it for
conditions. A part is seen only where the row is taken and the tests around it let it be asked."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from gainwright.language.expression import Choice, Expression, children, references
from gainwright.language.model import Trial
from gainwright.semantics.python_code import Check
from gainwright_codegen.bundle.golden.decision import Decision, parts_of, writer
from gainwright_codegen.bundle.golden.domain import input_domain, variable_domain
from gainwright_codegen.bundle.golden.explorer import Explorer
from gainwright_codegen.bundle.golden.sample import Sample
from gainwright_codegen.bundle.golden.samples import Sampler
from gainwright_codegen.trial_c.rows import Action

_TRIES = 400
_Guards = tuple[tuple[Expression, bool], ...]
"""Tests on the way to another one, and how they have to come out."""


@dataclass(frozen=True, slots=True)
class _Test:
    decision: Decision
    guards: _Guards
    rows: frozenset[int]
    """By number: those whose action asks it."""
    values: Check
    """Of its parts, then of the guards."""


class Choices:
    """Finds, for one trial, samples for parts of tests that other samples do not show."""

    def __init__(self, trial: Trial, explorer: Explorer, sampler: Sampler) -> None:
        self._explorer, self._sampler = explorer, sampler
        self._names = [signal.name for signal in (*trial.variables, *trial.inputs)]
        self._domains = (*variable_domain(trial), *input_domain(trial))
        self._variables = len(trial.variables)
        self._tests = [
            _Test(
                Decision(test, parts),
                guards,
                frozenset(rows),
                writer(trial).function([*parts, *(guard for guard, _ in guards)]),
            )
            for (_, test, guards), rows in _asked(trial).items()
            if len(parts := parts_of(test)) > 1
        ]

    def samples(self, others: Iterable[tuple[int, Sample]]) -> Iterator[tuple[int, Sample]]:
        """Yield rows by number with a sample each that shows a part more."""
        known = list(others)
        for test in self._tests:
            shown = {part for row, sample in known for part in self._shown(test, row, sample)}
            for part in range(len(test.decision.parts)):
                if part not in shown and (found := self._search(test, part)):
                    shown |= set(self._shown(test, *found))
                    yield found

    def _shown(self, test: _Test, row: int, sample: Sample) -> Iterator[int]:
        """Yield the parts that decide in a sample, and with one value changed the other way."""
        if row not in test.rows:
            return
        truth, deciding = self._asked_with(test, sample)
        for part in deciding:
            for other in self._around(test.decision.parts[part], sample):
                changed, still = self._asked_with(test, other)
                if part in still and changed[part] != truth[part] and self._takes(test, other):
                    yield part
                    break

    def _asked_with(self, test: _Test, sample: Sample) -> tuple[tuple[bool, ...], tuple[int, ...]]:
        """Return the parts of a test with a sample, and which decide; nothing if not asked."""
        state = sample.start[0]
        values = dict(zip(self._names, (*sample.start[1:], *sample.inputs), strict=True))
        found = tuple(map(bool, test.values(values, state, values, state)))
        parts, guards = found[: len(test.decision.parts)], found[len(test.decision.parts) :]
        if guards != tuple(wanted for _, wanted in test.guards):
            return (), ()
        return parts, test.decision.deciding(parts)

    def _around(self, part: Expression, sample: Sample) -> Iterator[Sample]:
        """Yield samples with another value of one signal that a part reads."""
        base, read = (*sample.start[1:], *sample.inputs), references(part)
        for place, domain in enumerate(self._domains):
            if self._names[place] in read:
                for value in domain:
                    values = (*base[:place], value, *base[place + 1 :])
                    start = (sample.start[0], *values[: self._variables])
                    yield Sample(start, values[self._variables :])

    def _takes(self, test: _Test, sample: Sample) -> bool:
        return self._explorer.taken(sample) in test.rows

    def _search(self, test: _Test, part: int) -> tuple[int, Sample] | None:
        rows = sorted(test.rows)
        for attempt in range(_TRIES):
            row = rows[attempt % len(rows)]
            sample = self._sampler.attempt(row)
            if sample is not None and part in self._shown(test, row, sample):
                return row, sample
        return None


def _asked(trial: Trial) -> dict[tuple[Action, Expression, _Guards], list[int]]:
    """Return every test in an action with the tests around it, and the rows that ask it.

    In the C rows share an action that is the same as a whole.
    """
    asked = dict[tuple[Action, Expression, _Guards], list[int]]()
    for number, row in enumerate(trial.rows):
        for value in row.actions.values():
            for test in _tests(value, ()):
                asked.setdefault((tuple(row.actions.items()), *test), []).append(number)
    return asked


def _tests(expression: Expression, guards: _Guards) -> Iterator[tuple[Expression, _Guards]]:
    if not isinstance(expression, Choice):
        for child in children(expression):
            yield from _tests(child, guards)
        return
    yield expression.condition, guards
    for branch, taken in ((expression.consequence, True), (expression.alternative, False)):
        yield from _tests(branch, (*guards, (expression.condition, taken)))
