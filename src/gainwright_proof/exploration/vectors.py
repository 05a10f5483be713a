"""Input vectors that stand for all: per state, one for each way in which inputs can matter.

For a state, all that the explorer asks of a tick (:mod:`questions`) is a set of expressions over
inputs and variables: the conditions that the rows of the state look at, the values that these rows
assign, and what each row can decide about the requirements. :mod:`features` gives the features of
these expressions; each expression is a function of variables and features. One vector is kept for
every combination of feature values that any input vector has. Therefore, whatever the variables
are: for every input vector there is one of ``vectors`` under which the tick has the same boolean
value of every condition of the table, takes the same row, gives the same new values, saturates the
same variables and gives each requirement the same boolean value.

Many of these differ in conditions only that do not matter, because one with precedence decides.
:mod:`behaviour` finds those that agree in all but the boolean values of conditions; the first
``distinct`` of ``vectors`` are one of each kind, and where something is known of the variables
(:mod:`situations`) even fewer are ``enough``. Trying these alone loses neither a reachable state
nor a violation. The tests compare all three with all input vectors, one by one.

Inputs that share no feature are enumerated apart: every combination of their values exists.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Container, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gainwright.language.expression import Expression, references
from gainwright.language.model import Kind, Signal, State, Trial
from gainwright.semantics.array_code import filled
from gainwright.semantics.python_code import ARRAY, CodeWriter
from gainwright_proof.exploration.behaviour import Behaviour, Group, firsts_of_each
from gainwright_proof.exploration.features import FeatureFinder, parts_within, thresholds
from gainwright_proof.exploration.questions import Questions, RowQuestions
from gainwright_proof.exploration.situations import SituationFinder, Situations
from gainwright_proof.exploration.ways import TooManyWays, Ways

Vector = tuple[int, ...]
"""One value per input, in the order of the trial."""

MOST_VALUES = 1 << 20
"""Values of one input, or of inputs that share a feature, that are looked at one by one."""


_Choices = tuple[tuple[str, ...], Sequence[Vector]]
"""Inputs, and values that they have together."""


class TooManyVectors(Exception):
    """The inputs can matter in more ways than can be enumerated; the text says in how many."""


@dataclass(frozen=True, slots=True)
class StateVectors:
    """What to try in a state."""

    state: str
    vectors: tuple[Vector, ...]
    """One for every combination of feature values; inputs that do not matter are lowest."""
    distinct: int
    """The first so many behave in different ways, every other one as one of them."""
    situations: Situations | None
    enough: tuple[tuple[int, ...], ...]
    """For each situation, numbers of the vectors that show everything there."""


def vectors_by_state(trial: Trial, most: int) -> tuple[StateVectors, ...]:
    """Return the representative input vectors of every state, in the order of the trial.

    Args:
        trial: the trial.
        most: greatest number of vectors of one state.

    Raises:
        TooManyVectors: an input has more than ``MOST_VALUES`` values that may matter, or a state
            more than ``most`` vectors.
    """
    builder = _Builder(trial)
    return tuple(builder.state_vectors(state, most) for state in trial.states)


def vectors_of(trial: Trial, states: Iterable[str], most: int) -> dict[str, tuple[Vector, ...]]:
    """Return the vectors of some states, as :func:`vectors_by_state` has them."""
    builder, wanted = _Builder(trial), set(states)
    return {s.name: builder.state_vectors(s, most).vectors
            for s in trial.states if s.name in wanted}  # fmt: skip


class WayFinder:
    """Finds the input vectors of a state one input after the other (:mod:`ways`), where there are
    too many combinations of features to list."""

    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self._builder = _Builder(trial)

    def of(self, state: State, most: int, most_values: int = MOST_VALUES) -> tuple[Vector, ...]:
        """Return one vector for each behaviour of a state, at most ``most`` of them.

        With ``most_values``, only so many values of an input are tried, spread over those that may
        matter: then some behaviours may be missing. Raises TooManyVectors.
        """
        rows, values_of = self._builder.questions_of(state)
        ways = Ways(self._trial, rows, lambda name: _spread(values_of(name), most_values))
        try:
            return tuple(ways.vectors(state.name, most))
        except TooManyWays as error:
            raise TooManyVectors(str(error)) from error


def _spread(values: Sequence[int], most: int) -> Sequence[int]:
    """Return at most so many values, the ends among them."""
    if len(values) <= most:
        return values
    return [values[k * (len(values) - 1) // (most - 1)] for k in range(most)]


@dataclass(frozen=True, slots=True)
class InputGroup:
    """Inputs that share features; each choice of one group occurs with every choice of another."""

    inputs: tuple[str, ...]
    """In the order of the trial."""
    choices: tuple[Vector, ...]
    """Values of these inputs, one for every combination of the features that read them."""
    kinds: tuple[int, ...]
    """For each choice: those of the same kind agree in every feature that is to be told apart, and
    in those of conditions that other groups are read by too."""


class InputGroups:
    """Groups of inputs of one trial, for any set of conditions; what was found is kept."""

    def __init__(self, trial: Trial) -> None:
        self._builder = _Builder(trial)
        self._finder = FeatureFinder(trial)
        self._variables = {variable.name: variable for variable in trial.variables}
        self._found: dict[object, InputGroup] = {}
        self._features_of: dict[tuple[Expression, ...], list[Expression]] = {}

    def assigned(self, name: str, value: Expression) -> list[Expression]:
        """Return the features of what a variable gets; over inputs and variables only."""
        return self._finder.of_assignment(self._variables[name], value)

    def of(
        self, place: str, conditions: Iterable[Sequence[Expression]], apart: Iterable[Expression]
    ) -> tuple[InputGroup, ...]:
        """Return the groups for conditions, each in all forms that it has, over inputs and
        variables only, and for features that are to be told apart besides.

        Raises TooManyVectors, which names the place, if a group has too many choices.
        """
        kept_apart = list(dict.fromkeys(apart))
        read = [self._features(tuple(forms)) for forms in conditions]
        every = dict.fromkeys((*(f for features in read for f in features), *kept_apart))
        groups = self._builder.grouped(every)
        group_of = {name: n for n, (names, _) in enumerate(groups) for name in names}
        wide = set(kept_apart)
        for features in read:
            if len({group_of[name] for f in features for name in references(f)}) > 1:
                wide.update(features)
        return tuple(self._group(place, names, shared, wide) for names, shared in groups)

    def _features(self, forms: tuple[Expression, ...]) -> list[Expression]:
        if forms not in self._features_of:
            every = (f for form in forms for f in self._finder.of_formula(form))
            self._features_of[forms] = list(dict.fromkeys(every))
        return self._features_of[forms]

    def _group(
        self,
        place: str,
        names: tuple[str, ...],
        shared: tuple[Expression, ...],
        wide: Container[Expression],
    ) -> InputGroup:
        distinguished = tuple(feature for feature in shared if feature in wide)
        key = names, frozenset(shared), frozenset(distinguished)
        if key not in self._found:
            choices = tuple(self._builder.choices(place, names, shared))
            kinds = self._builder.kinds(names, choices, distinguished)
            self._found[key] = InputGroup(names, choices, kinds)
        return self._found[key]


class _Builder:
    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self._signals = {signal.name: signal for signal in trial.inputs}
        self._variables = {variable.name: variable for variable in trial.variables}
        self._questions = Questions(trial)
        self._situations = SituationFinder(trial, self._questions)
        self._finder = FeatureFinder(trial)
        booleans = frozenset(
            s.name for s in (*trial.inputs, *trial.variables) if s.kind is Kind.BOOLEAN
        )
        self._writer = CodeWriter([state.name for state in trial.states], (), ARRAY, booleans)
        self._values: dict[tuple[str, tuple[Expression, ...]], list[int]] = {}
        self._choices: dict[tuple[tuple[str, ...], tuple[Expression, ...]], list[Vector]] = {}

    def state_vectors(self, state: State, most: int) -> StateVectors:
        rows = self._questions.rows(state)
        features = self._features(self._questions.conditions(state), rows)
        behaviour = Behaviour(self._trial, rows, self._groups(state.name, features, most))
        first, others = behaviour.distinct_first()
        situations = self._situations.of(state)
        enough = behaviour.enough(situations) if situations is not None else ()
        return StateVectors(state.name, (*first, *others), len(first), situations, enough)

    def questions_of(
        self, state: State
    ) -> tuple[tuple[RowQuestions, ...], Callable[[str], list[int]]]:
        """Return what is asked in a state, and which values of an input that tells apart."""
        rows = self._questions.rows(state)
        features = self._features(self._questions.conditions(state), rows)

        def values_of(name: str) -> list[int]:
            return self._values_of(name, tuple(f for f in features if name in references(f)))

        return rows, values_of

    def _groups(self, state: str, features: Iterable[Expression], most: int) -> list[Group]:
        """Return groups of inputs; each combination of values of the features is one of choices."""
        groups = [
            (names, self.choices(state, names, shared)) for names, shared in self.grouped(features)
        ]
        count = math.prod(len(choices) for _, choices in groups)
        if count > most:
            raise TooManyVectors(
                f"in state {state} the inputs can matter in {count} ways (at most {most})"
            )
        return groups

    def _features(
        self, conditions: Iterable[Expression], rows: Iterable[RowQuestions]
    ) -> list[Expression]:
        finder = self._finder
        found: dict[Expression, None] = {}
        for condition in conditions:
            found |= dict.fromkeys(finder.of_formula(condition))
        for row in rows:
            for name, value in row.assigned.items():
                found |= dict.fromkeys(finder.of_assignment(self._variables[name], value))
            for formula in row.judged:
                found |= dict.fromkeys(finder.of_formula(formula))
        return list(found)

    def grouped(
        self, features: Iterable[Expression]
    ) -> list[tuple[tuple[str, ...], tuple[Expression, ...]]]:
        """Return groups of inputs that share features, in the order of the inputs."""
        groups: list[tuple[set[str], list[Expression]]] = []
        for feature in features:
            names, members = set(references(feature)), [feature]
            for group in [g for g in groups if g[0] & names]:
                groups.remove(group)
                names |= group[0]
                members = group[1] + members
            groups.append((names, members))
        order = list(self._signals)
        ordered = [(tuple(sorted(names, key=order.index)), tuple(m)) for names, m in groups]
        return sorted(ordered, key=lambda group: order.index(group[0][0]))

    def choices(
        self, state: str, names: Sequence[str], features: tuple[Expression, ...]
    ) -> list[Vector]:
        """Return the first combination of values for each combination of feature values."""
        key = tuple(names), features
        if key not in self._choices:
            alike = [self._alike(state, own, features) for own in _read_together(names, features)]
            self._choices[key] = self._first_of_all(state, names, alike, features)
        return self._choices[key]

    def _alike(
        self, state: str, names: tuple[str, ...], features: tuple[Expression, ...]
    ) -> _Choices:
        """Return the values of inputs that their own parts of the features tell apart."""
        values = [(((name,), [(v,) for v in self._values_of(name, features)])) for name in names]
        if len(names) == 1:
            return values[0]
        own = dict.fromkeys(p for f in features for p in parts_within(f, frozenset(names)))
        return names, self._first_of_all(state, names, values, tuple(own))

    def _first_of_all(
        self,
        state: str,
        names: Sequence[str],
        choices: Sequence[_Choices],
        features: Sequence[Expression],
    ) -> list[Vector]:
        count = math.prod(len(vectors) for _, vectors in choices)
        if count > MOST_VALUES:
            raise TooManyVectors(
                f"in state {state} the inputs {', '.join(names)} have {count} combinations of "
                f"values that may matter (at most {MOST_VALUES})"
            )
        return self._first_of_each(names, choices, features)

    def kinds(
        self, names: Sequence[str], choices: Sequence[Vector], features: Sequence[Expression]
    ) -> tuple[int, ...]:
        """Return a number for each choice of values; the same where all features are the same."""
        table = np.array(choices, dtype=np.int64).reshape(len(choices), len(names))
        columns = {name: table[:, place] for place, name in enumerate(names)}
        values = self._writer.function(features)(columns, 0, {}, 0)
        rows = zip(*(filled(value, len(choices)).tolist() for value in values), strict=True)
        numbers: dict[tuple[int, ...], int] = {}
        return tuple(numbers.setdefault(row, len(numbers)) for row in rows) or (0,) * len(choices)

    def _values_of(self, name: str, features: tuple[Expression, ...]) -> list[int]:
        """Return the values of one input that its own parts of the features tell apart."""
        parts = tuple(
            dict.fromkeys(
                part for feature in features for part in parts_within(feature, frozenset({name}))
            )
        )
        if (name, parts) not in self._values:
            candidates = self._candidates(self._signals[name], parts)
            one_by_one = ((name,), [(value,) for value in candidates])
            firsts = self._first_of_each((name,), [one_by_one], parts)
            self._values[name, parts] = [value for (value,) in firsts]
        return self._values[name, parts]

    def _candidates(self, signal: Signal, parts: Sequence[Expression]) -> Sequence[int]:
        if signal.kind is Kind.BOOLEAN:
            return range(signal.low, signal.high + 1)
        changes = [thresholds(part) for part in parts]
        if None not in changes:
            cuts = {signal.low} | {value for part in changes for value in part or []}
            return sorted(value for value in cuts if signal.low <= value <= signal.high)
        if signal.high - signal.low >= MOST_VALUES:
            raise TooManyVectors(
                f"each of the {signal.high - signal.low + 1} values of the input {signal.name} may "
                f"matter (at most {MOST_VALUES})"
            )
        return range(signal.low, signal.high + 1)

    def _first_of_each(
        self, names: Sequence[str], choices: Sequence[_Choices], features: Sequence[Expression]
    ) -> list[Vector]:
        """Return the first of all combinations of choices for each combination of features.

        All combinations are looked at together: there may be a million of them.
        """
        shape = tuple(len(vectors) for _, vectors in choices)
        count = math.prod(shape)
        places = np.unravel_index(np.arange(count), shape) if shape else ()
        columns = {
            name: np.array([vector[k] for vector in vectors], dtype=np.int64)[place]
            for (own, vectors), place in zip(choices, places, strict=True)
            for k, name in enumerate(own)
        }
        values_of = self._writer.function(features)(columns, 0, {}, 0)
        firsts = firsts_of_each([_counted(value, count) for value in values_of], count)
        return list(zip(*(columns[name][firsts].tolist() for name in names), strict=True))


def _read_together(names: Iterable[str], features: Iterable[Expression]) -> list[tuple[str, ...]]:
    """Return groups of inputs that are read by the very same features."""
    read = [references(feature) for feature in features]
    groups: dict[tuple[bool, ...], list[str]] = {}
    for name in names:
        groups.setdefault(tuple(name in one for one in read), []).append(name)
    return [tuple(group) for group in groups.values()]


def _counted(value: Any, count: int) -> NDArray[np.int64] | NDArray[np.uint8]:
    """Return a computed value, which may be a scalar, for many lanes, counted from its lowest."""
    column = np.broadcast_to(np.asarray(value), (count,))
    if column.dtype == np.bool_:
        return column.astype(np.uint8)
    return column.astype(np.int64) - int(column.min(initial=0))
