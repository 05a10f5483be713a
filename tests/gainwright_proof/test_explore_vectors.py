"""The input vectors stand for all others: compared with every vector, for all variables."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from gainwright.language.expression import Binary, Choice, Integer, Operator, Reference, references
from gainwright.language.model import Condition, Kind, RequirementKind, Signal
from gainwright.semantics.evaluate import Moment, Step, evaluate, evaluate_over
from gainwright.semantics.machine import ReferenceMachine
from gainwright_proof.exploration.specialise import Specialiser
from gainwright_proof.exploration.vectors import InputGroups, TooManyVectors, vectors_by_state

from ..shared.cases import cases
from ..shared.explore_trials import random_trial
from ..shared.random_trials import counter_trial


class Ticks:
    """All that can be seen of single ticks, also where the table is not single-hit."""

    def __init__(self, trial) -> None:
        self.trial = trial
        self.machine = ReferenceMachine(trial)

    def seen(self, state: str, variables: dict, inputs: dict) -> tuple[tuple, tuple]:
        """Return the booleans of the conditions that the table looks at, and what happens."""
        self.machine.restore(state, variables)
        booleans = self.machine.conditions(inputs)
        rows = self.trial.rows_by_state[state]
        looked_at = sorted({name for row in rows for name in (*row.when, *row.unless)})
        holding = [
            row.id for row in rows
            if all(booleans[n] for n in row.when) and not any(booleans[n] for n in row.unless)
        ]  # fmt: skip
        done = ()
        if len(holding) == 1:
            before = {**inputs, **variables, **self.machine.outputs(), **booleans}
            self.machine.tick(inputs)
            after = {**self.machine.variables, **self.machine.outputs()}
            step = Step(Moment(before, state), Moment(after, self.machine.state))
            done = (
                tuple(self.machine.variables.items()),
                self.machine.saturated,
                tuple(self._judged(requirement, step) for requirement in self.trial.requirements),
            )
        return tuple(booleans[name] for name in looked_at), (tuple(holding), *done)

    @staticmethod
    def _judged(requirement, step):
        if requirement.kind is RequirementKind.STEP:
            return evaluate_over(requirement.formula, step)
        if requirement.kind is RequirementKind.RESPONSE:
            now = evaluate_over(requirement.formula, Step(step.after))
            return evaluate_over(requirement.trigger, step) and not now
        return None


def situation(situations, variables) -> int:
    booleans = [evaluate(feature, variables) for feature in situations.features]
    return sum(boolean << bit for bit, boolean in enumerate(booleans))


def combinations(signals):
    ranges = [range(signal.low, signal.high + 1) for signal in signals]
    names = [signal.name for signal in signals]
    return [dict(zip(names, values, strict=True)) for values in itertools.product(*ranges)]


@pytest.mark.parametrize("seed", cases(range(2), slow=(*range(2, 16), 20, 38)))
def test_vectors_show_all_that_any_vector_shows(seed):
    trial = random_trial(seed)
    ticks = Ticks(trial)
    names = [signal.name for signal in trial.inputs]
    all_inputs = combinations(trial.inputs)
    for chosen in vectors_by_state(trial, 1000):
        vectors = [dict(zip(names, vector, strict=True)) for vector in chosen.vectors]
        for variables in combinations(trial.variables):
            every = {ticks.seen(chosen.state, variables, inputs) for inputs in all_inputs}
            some = [ticks.seen(chosen.state, variables, inputs) for inputs in vectors]
            assert set(some) == every
            done = {what for _, what in every}
            assert {what for _, what in some[: chosen.distinct]} == done
            if chosen.situations is not None:
                enough = chosen.enough[situation(chosen.situations, variables)]
                assert {some[number][1] for number in enough} == done


def kept(group, forms, variables, others):
    """Return the choices of a group that stand for all, as the comparison of mutants keeps them:
    one for each kind and each combination of the conditions that read no other input."""
    own = [form for form in forms if set(references(form)) & set(others) <= set(group.inputs)]
    found = {}
    for choice, kind in zip(group.choices, group.kinds, strict=True):
        values = {**others, **dict(zip(group.inputs, choice, strict=True))}
        booleans = tuple(evaluate(form, {**values, **variables}) for form in own)
        found.setdefault((kind, booleans), dict(zip(group.inputs, choice, strict=True)))
    return list(found.values())


@pytest.mark.parametrize("seed", cases(range(2), slow=(*range(2, 16), 20, 38)))
def test_groups_of_inputs_show_all_that_any_input_shows(seed):
    trial = random_trial(seed)
    specialiser, finder = Specialiser(trial), InputGroups(trial)
    forms = [specialiser.condition(condition.name) for condition in trial.conditions]
    assigned = [(n, specialiser.expanded(v)) for row in trial.rows for n, v in row.actions.items()]
    apart = [feature for name, value in assigned for feature in finder.assigned(name, value)]
    groups = finder.of("any state", [(form,) for form in forms], apart)
    lowest = {signal.name: signal.low for signal in trial.inputs}
    watched = [*forms, *apart]
    for variables in combinations(trial.variables):
        every = {
            tuple(evaluate(form, {**inputs, **variables}) for form in watched)
            for inputs in combinations(trial.inputs)
        }
        some = set()
        for chosen in itertools.product(*(kept(g, forms, variables, lowest) for g in groups)):
            values = lowest | {name: value for part in chosen for name, value in part.items()}
            some.add(tuple(evaluate(form, {**values, **variables}) for form in watched))
        assert some == every


def test_a_condition_over_two_groups_keeps_their_choices_apart():
    """Each input joins the variable by itself, so that neither decides alone."""
    inputs = tuple(Signal(name, Kind.INTEGER, 0, 3, "", "") for name in ("here", "there"))
    above = (Binary(Operator.GREATER, Reference(s.name), Reference("count_up")) for s in inputs)
    both = Condition("both", Binary(Operator.AND, *above), "")
    trial = replace(counter_trial(), inputs=inputs, conditions=(both,), rows=(), requirements=())
    groups = InputGroups(trial).of("any state", [(both.expression,)], ())
    assert [len(set(group.kinds)) for group in groups] == [4, 4]


def test_order_of_a_wide_input_among_the_values_of_a_variable():
    """Of an input compared with a variable in 0 to 5, only its place among these can matter."""
    wide = Signal("by", Kind.INTEGER, -(2**31), 2**31 - 1, "", "")
    trial = counter_trial(inputs=(Signal("go", Kind.BOOLEAN, 0, 1, "", ""), wide))
    narrow = replace(wide, low=-1000, high=60_000)
    below = Binary(Operator.LESS, Reference("by"), Reference("count_up"))
    trial = replace(
        trial,
        inputs=(trial.inputs[0], narrow),
        conditions=(Condition("told", below, ""),),
        rows=tuple(replace(row, actions={}) for row in trial.rows),
    )
    (only,) = vectors_by_state(trial, 1000)
    assert sorted(vector[1] for vector in only.vectors) == [-1000, 0, 1, 2, 3, 4, 5, 6]


def test_comparisons_with_constants_need_no_enumeration():
    wide = Signal("by", Kind.INTEGER, -(2**31), 2**31 - 1, "", "")
    inside = Binary(
        Operator.AND,
        Binary(Operator.GREATER, Reference("by"), Integer(10)),
        Binary(Operator.LESS_EQUAL, Reference("by"), Integer(70_000)),
    )
    trial = counter_trial(
        inputs=(Signal("go", Kind.BOOLEAN, 0, 1, "", ""), wide),
        conditions=(Condition("told", inside, ""),),
    )
    trial = replace(trial, rows=tuple(replace(row, actions={}) for row in trial.rows))
    (only,) = vectors_by_state(trial, 1000)
    assert [vector[1] for vector in only.vectors] == [-(2**31), 11]


def test_a_choice_between_wide_inputs_needs_no_enumeration():
    """Which input is compared is a variable's choice, and what with is an input's: 1 or 4."""
    here, there = (Signal(name, Kind.INTEGER, 0, 2**24, "", "") for name in ("here", "there"))
    rising = Binary(Operator.GREATER, Reference("count_up"), Integer(2))
    asked = Binary(
        Operator.GREATER_EQUAL,
        Choice(rising, Reference("here"), Reference("there")),
        Choice(Reference("go"), Integer(1), Integer(4)),
    )
    trial = counter_trial(
        inputs=(Signal("go", Kind.BOOLEAN, 0, 1, "", ""), here, there),
        conditions=(Condition("told", asked, ""),),
    )
    trial = replace(trial, rows=tuple(replace(row, actions={}) for row in trial.rows))
    (only,) = vectors_by_state(trial, 1000)
    assert [(here, there) for _, here, there in only.vectors] == [(0, 0), (0, 4), (4, 0), (4, 4)]
    moments = [dict(zip(("go", "here", "there"), vector, strict=True)) for vector in only.vectors]
    for count in (0, 5):
        assert {evaluate(asked, {**moment, "count_up": count}) for moment in moments} == {0, 1}


def test_assigned_input_matters_as_far_as_the_variable_goes():
    # count_up := if go then by else 0, in 0 to 5: below and above it saturates.
    (only,) = vectors_by_state(counter_trial(), 1000)
    assert [vector[1] for vector in only.vectors if vector[0]] == [-9, 0, 1, 2, 3, 4, 5, 6]
    assert len(only.vectors) == 9


def test_too_many_vectors_say_how_many():
    with pytest.raises(TooManyVectors, match=r"in 9 ways \(at most 5\)"):
        vectors_by_state(counter_trial(), 5)
    wide = Signal("by", Kind.INTEGER, 0, 2**24, "", "")
    trial = counter_trial(inputs=(Signal("go", Kind.BOOLEAN, 0, 1, "", ""), wide))
    with pytest.raises(TooManyVectors, match="16777217 values of the input by"):
        vectors_by_state(trial, 1000)
