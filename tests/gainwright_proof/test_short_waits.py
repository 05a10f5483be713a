"""A trial with short waits keeps every kind of tick, and as many states as it should have."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import numpy as np
import pytest

from gainwright.language.load import load_trial, trial_from_document
from gainwright.language.model import RequirementKind
from gainwright.language.parse import parse
from gainwright.language.shipped import shipped_trial_names, shipped_trial_path
from gainwright_proof.exploration import explore
from gainwright_proof.exploration.short_waits import (
    offers_with_short_waits,
    waits,
    with_short_waits,
)
from gainwright_proof.exploration.situations import Situations
from gainwright_proof.exploration.vectors import vectors_by_state
from gainwright_proof.verdict import Verdict

from ..shared.cases import cases

pytestmark = pytest.mark.usefixtures("scratch_cache")

WAITING = """
[trial]
name = "waiting"
title = "Two waits"
tick_us = 1000
initial_state = "rest"

[inputs]
go = { kind = "boolean", meaning = "Begin" }

[variables]
time = { kind = "integer", range = [0, 500], initial = 0, meaning = "Ticks in the state" }
rounds = { kind = "integer", range = [0, 3], initial = 0, meaning = "Rounds" }

[outputs]
busy = { kind = "boolean", default = false, meaning = "Works" }

[conditions]
asked = { holds = "go", meaning = "Asked for" }
settled = { holds = "time >= 40", meaning = "The first wait is over" }
over = { holds = "time >= 300", meaning = "The second wait is over" }

[states.rest]
meaning = "Waits for a start"
end = true

[states.work]
meaning = "Works"
outputs = { busy = true }

[[rows]]
id = "begin"
from = "rest"
when = ["asked"]
to = "work"
actions = { time = 0 }
why = "A start."

[[rows]]
id = "stay"
from = "rest"
unless = ["asked"]
why = "No start."

[[rows]]
id = "count_early"
from = "work"
unless = ["settled", "over"]
actions = { time = "time + 1" }
why = "Time passes."

[[rows]]
id = "count_late"
from = "work"
when = ["settled"]
unless = ["over"]
actions = { time = "time + 1" }
why = "Time passes."

[[rows]]
id = "ready"
from = "work"
when = ["over"]
to = "rest"
actions = { time = 0, rounds = "rounds + 1" }
why = "The wait is over."

[hazards]
endless = { consequence = "It never stops" }

[requirements.counted]
hazard = "endless"
sentence = "Every tick counts."
kind = "step"
formula = "in_state(work) and next(in_state(work)) implies next(time) == time + 1"
proved_by = "exploration"

[requirements.bounded]
hazard = "endless"
sentence = "No wait beyond its limit."
kind = "invariant"
formula = "time <= 300 and rounds <= 3"
proved_by = "exploration"
"""


LIMIT = """[constants]
limit = { value = 300, unit = "ticks", meaning = "The second wait" }

"""


def trial(text: str = WAITING):
    return trial_from_document(tomllib.loads(text), "waiting.toml")


def judged(formula: str, kind=RequirementKind.STEP):
    """Return what exploration says of a formula, of the trial itself and with short waits."""
    original = trial()
    formula = parse(formula, requirement=True)
    added = replace(original.requirements[0], id="added", kind=kind, formula=formula)
    changed = replace(original, requirements=(*original.requirements, added))
    short = with_short_waits(changed, waits(changed))
    return [
        next(f.verdict for f in explore(each).findings if f.subject == "added")
        for each in (changed, short)
    ]


def test_only_counters_of_time_are_shortened():
    (wait,) = waits(trial())
    assert wait.variable.name == "time"
    assert wait.points == (0, 40, 300, 500)
    assert wait.short == (0, 3, 6, 9)
    assert [wait.shortened(v) for v in (0, 1, 20, 39, 40, 41, 299, 300)] == [
        0, 1, 1, 2, 3, 4, 5, 6,
    ]  # fmt: skip


def test_many_values_are_shortened_as_each():
    (wait,) = waits(trial())
    values = np.arange(501, dtype=np.uint64)
    assert wait.digits(values).tolist() == [wait.shortened(int(v)) for v in values]


def test_states_of_the_exploration_are_counted_alike():
    original = trial()
    whole = explore(original, premises=True)
    short = explore(with_short_waits(original, waits(original)))
    assert whole.figures.nodes > 900
    assert whole.short_wait_states == short.figures.nodes < 60


def test_a_named_constant_is_shortened_in_the_c_too():
    """The C writes a named constant by its name, with the value that it has in the file."""
    text = WAITING.replace("[inputs]", LIMIT + "[inputs]", 1)
    text = text.replace("time >= 300", "time >= limit")
    original = trial(text)
    whole = explore(original, premises=True)
    short = explore(with_short_waits(original, waits(original)))
    assert whole.short_wait_states == short.figures.nodes < 60


@pytest.mark.parametrize(
    "formula",
    cases(
        [
            "in_state(work) and time >= 40 implies next(time) >= 41",
            "time == 123 implies not next(in_state(work))",
            "next(rounds) <= 2",
        ],
        slow=[
            "in_state(work) and time >= 41 implies next(in_state(work))",
            "next(in_state(rest)) and in_state(work) implies time == 300",
            "time == 299 implies next(time) == 300",
        ],
    ),
)
def test_untimed_requirements_get_the_same_verdict(formula):
    whole, short = judged(formula)
    assert whole is short
    assert whole in (Verdict.PROVED, Verdict.REFUTED)


@pytest.mark.parametrize(
    ("found", "changed"),
    [
        ('"time + 1"', '"time + 2"'),
        ('"time >= 300"', '"time + rounds >= 300"'),
        ('"rounds + 1"', '"if time > rounds then rounds + 1 else rounds"'),
    ],
)
def test_a_variable_that_is_read_in_another_way_is_left_as_it_is(found, changed):
    assert waits(trial(WAITING.replace(found, changed))) == ()


@pytest.mark.parametrize("name", shipped_trial_names())
def test_the_waits_of_shipped_trials_can_be_shortened(name):
    """One requirement that reads the timer in another way keeps every value of it a state."""
    assert [wait.variable.name for wait in waits(load_trial(shipped_trial_path(name)))] == ["wait"]


def test_situations_are_those_of_the_trial_with_short_waits():
    shortened = waits(trial())
    offered = offers_with_short_waits(vectors_by_state(trial(), 1000), shortened)
    assert offered == vectors_by_state(with_short_waits(trial(), shortened), 1000)


@pytest.mark.parametrize(("line", "known"), [(40, True), (41, False), (300, True)])
def test_a_line_that_short_waits_do_not_keep_tells_no_situations(line, known):
    situations = Situations((parse(f"time >= {line}", requirement=False),))
    vectors = [
        replace(state, situations=situations, enough=((0,), (0,)))
        for state in vectors_by_state(trial(), 1000)
    ]
    offered = offers_with_short_waits(vectors, waits(trial()))
    assert {state.situations is not None for state in offered} == {known}
