"""Samples in which each part of a condition decides alone.

Around a sample every value changes by itself (:mod:`rows_c`). So a part of a condition is seen to
decide where changing it alone would change the condition: modified condition and decision coverage
(as DO-178C, 6.4.4.2 c, defines it; from memory), of what the rows' own samples leave out. That
shows only where the row taken asks for the condition, and a threshold only where this is so on both
sides of it: a value may stand in several parts.
A condition that names others is looked at twice: with each of them as one part, and with what they
compare in their places.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise

from gainwright.language.expression import references
from gainwright.language.model import Trial
from gainwright_codegen.bundle.golden.decision import Decision, in_full, parts_of, writer
from gainwright_codegen.bundle.golden.domain import input_domain, variable_domain
from gainwright_codegen.bundle.golden.explorer import Explorer
from gainwright_codegen.bundle.golden.sample import Sample
from gainwright_codegen.bundle.golden.samples import Sampler
from gainwright_codegen.trial_c.condition_bits import condition_bits

_TRIES = 30
"""For each part."""


class Decisions:
    """Finds, for one trial, samples for the parts that other samples do not show."""

    def __init__(self, trial: Trial, explorer: Explorer, sampler: Sampler) -> None:
        self._trial, self._explorer, self._sampler = trial, explorer, sampler
        self._domains = (*variable_domain(trial), *input_domain(trial))
        self._names = [signal.name for signal in (*trial.variables, *trial.inputs)]
        self._asking = {
            c.name: [k for k, row in enumerate(trial.rows) if c.name in (*row.when, *row.unless)]
            for c in trial.conditions
        }
        conditions = [c for c in trial.conditions if c.name in condition_bits(trial).used]
        trees = in_full(trial)
        forms = ((c, e) for c in conditions for e in dict.fromkeys((c.expression, trees[c.name])))
        found = [(c.name, Decision(e, parts)) for c, e in forms if len(parts := parts_of(e)) > 1]
        self._conditions = [name for name, _ in found]
        self._decisions = [decision for _, decision in found]
        self._values = [writer(trial).function(decision.parts) for decision in self._decisions]

    def samples(self, others: Iterable[tuple[int, Sample]]) -> Iterator[tuple[int, Sample]]:
        """Yield rows by number with a sample each that shows a part more."""
        shown = {key for row, sample in others for key in self._all_shown(row, sample)}
        for number, decision in enumerate(self._decisions):
            for part in range(len(decision.parts)):
                if (number, part) not in shown and (found := self._search(number, part)):
                    shown |= set(self._all_shown(*found))
                    yield found

    def _all_shown(self, row: int, sample: Sample) -> Iterator[tuple[int, int]]:
        """Yield decisions and their parts that a sample shows."""
        for number, name in enumerate(self._conditions):
            if row in self._asking[name]:
                for part in self._deciding(number, self._parts(number, sample)):
                    if self._is_shown(number, part, sample):
                        yield number, part

    def _deciding(self, number: int, values: tuple[bool, ...]) -> tuple[int, ...]:
        return self._decisions[number].deciding(values)

    def _parts(self, number: int, sample: Sample) -> tuple[bool, ...]:
        """Return which parts of a decision are true."""
        state = sample.start[0]
        values = dict(zip(self._names, (*sample.start[1:], *sample.inputs), strict=True))
        return tuple(map(bool, self._values[number](values, state, values, state)))

    def _is_shown(self, number: int, part: int, sample: Sample) -> bool:
        """Return whether a part shows while one of the signals that it reads changes by itself; the
        name of a condition reads none: its own parts are looked at."""
        read = references(self._decisions[number].parts[part])
        places = [place for place, name in enumerate(self._names) if name in read]
        return not places or any(self._turns(number, part, sample, place) for place in places)

    def _turns(self, number: int, part: int, sample: Sample, place: int) -> bool:
        """Return whether a part shows on both sides of a value of one signal."""
        around = [self._changed(sample, place, value) for value in self._domains[place]]
        truths = [self._parts(number, other) for other in around]
        return any(
            below[part] != above[part]
            and part in self._deciding(number, below)
            and part in self._deciding(number, above)
            and self._asks(number, around[k])
            and self._asks(number, around[k + 1])
            for k, (below, above) in enumerate(pairwise(truths))
        )

    def _changed(self, sample: Sample, place: int, value: int) -> Sample:
        base, count = (*sample.start[1:], *sample.inputs), len(sample.start) - 1
        values = (*base[:place], value, *base[place + 1 :])
        return Sample((sample.start[0], *values[:count]), values[count:])

    def _asks(self, number: int, sample: Sample) -> bool:
        """Return whether the row that a sample takes asks for the condition of a decision."""
        return self._explorer.taken(sample) in self._asking[self._conditions[number]]

    def _search(self, number: int, part: int) -> tuple[int, Sample] | None:
        """Return a row and a sample that shows a part, or None where chance does not find one."""
        name, decision = self._conditions[number], self._decisions[number]
        rows = self._asking[name]

        def missing(sample: Sample) -> int:
            return decision.distance(self._parts(number, sample), part)

        for attempt in range(_TRIES):
            row = rows[attempt % len(rows)]
            sample = self._sampler.attempt_where(row, name, missing)
            if sample is not None and self._is_shown(number, part, sample):
                return self._explorer.taken(sample), sample
        return None
