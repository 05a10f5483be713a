"""The second reader agrees with the first on good files, and notices defects of either."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given

from gainwright.language import parse as first_parse
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
)
from gainwright.language.load import load_trial, trial_from_document
from gainwright.language.model import NEVER, Kind, Trial
from gainwright.language.parse import parse
from gainwright.language.shipped import shipped_trial_names, shipped_trial_path
from gainwright.language.write import write
from gainwright.semantics import evaluate
from gainwright.semantics.machine import ReferenceMachine
from gainwright_proof.second_reader import comparison
from gainwright_proof.second_reader.check import second_reading
from gainwright_proof.second_reader.comparison import first_term
from gainwright_proof.second_reader.expressions import term_of
from gainwright_proof.verdict import Verdict

from ..gainwright.language_trees import trees
from ..gainwright.test_enumerations import text as enumerations_text
from ..shared.explore_trials import random_trial
from ..shared.small_trial import SMALL

DOCUMENT = tomllib.loads(shipped_trial_path().read_text(encoding="utf-8"))
TRIAL = load_trial(shipped_trial_path())


@pytest.mark.parametrize(
    "name",
    [
        name if name == "standard" else pytest.param(name, marks=pytest.mark.slow)
        for name in shipped_trial_names()
    ],
)
def test_shipped_trials_are_read_alike(name):
    document = tomllib.loads(shipped_trial_path(name).read_text(encoding="utf-8"))
    found = second_reading(trial_from_document(document, name), document)
    assert found.verdict is Verdict.PROVED, found.detail


@pytest.mark.parametrize("text", [SMALL, enumerations_text()])
def test_small_trials_are_read_alike(text):
    document = tomllib.loads(text)
    found = second_reading(trial_from_document(document, "x"), document)
    assert found.verdict is Verdict.PROVED, found.detail


@given(trees)
def test_random_expressions_are_read_alike(tree):
    """Without names of constants, which only the first tree knows by value."""
    text = write(tree)
    assert term_of(text) == first_term(parse(text, requirement=True))


def document_of(trial: Trial) -> dict:
    """Return the file of a trial made without one."""

    def entry(signal, **more):
        if signal.kind is Kind.BOOLEAN:
            return {"kind": "boolean", **more}
        return {"kind": "integer", "range": [signal.low, signal.high], **more}

    def requirement(r):
        timed = {} if r.within_ticks == NEVER else {"within_ticks": r.within_ticks}
        trigger = {} if r.trigger is None else {"trigger": write(r.trigger)}
        return {"kind": r.kind.value, "formula": write(r.formula), **trigger, **timed}

    return {
        "trial": {"initial_state": trial.initial_state, "tick_us": trial.tick_us},
        "inputs": {s.name: entry(s) for s in trial.inputs},
        "variables": {v.name: entry(v, initial=v.initial) for v in trial.variables},
        "outputs": {o.name: entry(o, default=write(o.default)) for o in trial.outputs},
        "conditions": {c.name: {"holds": write(c.expression)} for c in trial.conditions},
        "states": {
            s.name: {"end": s.end, "outputs": {n: write(e) for n, e in s.outputs.items()}}
            for s in trial.states
        },
        "rows": [
            {"id": r.id, "from": r.source, "to": r.target, "when": list(r.when),
             "unless": list(r.unless), "actions": {n: write(e) for n, e in r.actions.items()}}
            for r in trial.rows
        ],
        "requirements": {r.id: requirement(r) for r in trial.requirements},
    }  # fmt: skip


@pytest.mark.parametrize("seed", range(12))
def test_random_trials_are_read_alike(seed):
    """Some of them have gaps and overlaps, which both must see in the same ticks."""
    trial = random_trial(seed)
    found = second_reading(trial, document_of(trial))
    assert found.verdict is Verdict.PROVED, found.detail


def test_a_first_reader_that_drops_the_last_state_is_noticed(monkeypatch):
    """All other methods prove the wrong formula then, and agree."""
    whole = first_parse._Parser._in_state

    def dropping(self):
        read = whole(self)
        return replace(read, states=read.states[:-1] or read.states)

    monkeypatch.setattr(first_parse._Parser, "_in_state", dropping)
    trial = trial_from_document(DOCUMENT, "standard.toml")
    assert trial != TRIAL
    found = second_reading(trial, DOCUMENT)
    assert found.verdict is Verdict.REFUTED and "requirements" in found.detail


def everywhere(change: Callable[[Expression], Expression]) -> Trial:
    """Return the trial as a reader with a defect would have it."""

    def new(part: Expression) -> Expression:
        match part:
            case Unary(operator, operand):
                part = Unary(operator, new(operand))
            case Binary(operator, left, right):
                part = Binary(operator, new(left), new(right))
            case Choice(a, b, c):
                part = Choice(new(a), new(b), new(c))
        return change(part)

    def all_of(table):
        return {name: new(value) for name, value in table.items()}

    trial = replace(
        TRIAL,
        conditions=tuple(replace(c, expression=new(c.expression)) for c in TRIAL.conditions),
        outputs=tuple(replace(o, default=new(o.default)) for o in TRIAL.outputs),
        states=tuple(replace(s, outputs=all_of(s.outputs)) for s in TRIAL.states),
        rows=tuple(replace(r, actions=all_of(r.actions)) for r in TRIAL.rows),
        requirements=tuple(
            replace(r, formula=new(r.formula), trigger=r.trigger and new(r.trigger))
            for r in TRIAL.requirements
        ),
    )
    assert trial != TRIAL
    return trial


def swapped(wanted: Operator, put: Operator) -> Trial:
    return everywhere(
        lambda e: (
            Binary(put, e.left, e.right) if isinstance(e, Binary) and e.operator is wanted else e
        )
    )


def grouped_otherwise(expression: Expression) -> Expression:
    match expression:
        case Binary(Operator.OR, left, Binary(Operator.AND, a, b)):
            return Binary(Operator.AND, Binary(Operator.OR, left, a), b)
    return expression


def first_of(items, **changes):
    return (replace(items[0], **changes), *items[1:])


LARGE = next(v for v in TRIAL.variables if v.kind is Kind.INTEGER)
DEFECTS = {
    "at least read as greater": swapped(Operator.GREATER_EQUAL, Operator.GREATER),
    "less read as at most": swapped(Operator.LESS, Operator.LESS_EQUAL),
    "and read as or": swapped(Operator.AND, Operator.OR),
    "implies read as equal": swapped(Operator.IMPLIES, Operator.EQUAL),
    "implies turned round": everywhere(
        lambda e: (
            Binary(e.operator, e.right, e.left)
            if isinstance(e, Binary) and e.operator is Operator.IMPLIES
            else e
        )
    ),
    "and binds looser than or": everywhere(grouped_otherwise),
    "not dropped": everywhere(
        lambda e: e.operand if isinstance(e, Unary) and e.operator is Operator.NOT else e
    ),
    "next dropped": everywhere(
        lambda e: replace(e, after=False) if isinstance(e, Reference | InState) else e
    ),
    "branches of if swapped": everywhere(
        lambda e: Choice(e.condition, e.alternative, e.consequence) if isinstance(e, Choice) else e
    ),
    "integers one larger": everywhere(
        lambda e: Integer(e.value + 1) if isinstance(e, Integer) and not e.name else e
    ),
    "true read as false": everywhere(
        lambda e: Boolean(False) if isinstance(e, Boolean) and e.value else e
    ),
    "first constant one larger": replace(
        TRIAL, constants=first_of(TRIAL.constants, value=TRIAL.constants[0].value + 1)
    ),
    "when and unless swapped": replace(
        TRIAL, rows=tuple(replace(r, when=r.unless, unless=r.when) for r in TRIAL.rows)
    ),
    "last unless dropped": replace(
        TRIAL, rows=tuple(replace(r, unless=r.unless[:-1]) for r in TRIAL.rows)
    ),
    "rows that always stay": replace(
        TRIAL, rows=tuple(replace(r, target=r.source) for r in TRIAL.rows)
    ),
    "last row lost": replace(TRIAL, rows=TRIAL.rows[:-1]),
    "last requirement lost": replace(TRIAL, requirements=TRIAL.requirements[:-1]),
    "states in another order": replace(TRIAL, states=TRIAL.states[::-1]),
    "end forgotten": replace(TRIAL, states=first_of(TRIAL.states, end=not TRIAL.states[0].end)),
    "range one smaller": replace(
        TRIAL,
        variables=tuple(replace(v, high=v.high - 1) if v is LARGE else v for v in TRIAL.variables),
    ),
    "another initial value": replace(
        TRIAL, variables=first_of(TRIAL.variables, initial=TRIAL.variables[0].initial + 1)
    ),
    "times one tick longer": replace(
        TRIAL,
        requirements=tuple(
            replace(r, within_ticks=r.within_ticks + 1) if r.within_ticks != NEVER else r
            for r in TRIAL.requirements
        ),
    ),
    "state outputs forgotten": replace(
        TRIAL, states=tuple(replace(s, outputs={}) for s in TRIAL.states)
    ),
    "another initial state": replace(TRIAL, initial_state=TRIAL.states[1].name),
    "margin of the stage": replace(TRIAL, stages=first_of(TRIAL.stages, margin_rungs=1)),
}


@pytest.mark.parametrize("name", DEFECTS)
def test_inserted_defects_of_the_first_reader_are_noticed(name, monkeypatch):
    monkeypatch.setattr(comparison, "TICKS_PER_ROW", 2)
    found = second_reading(DEFECTS[name], DOCUMENT)
    assert found.verdict is Verdict.REFUTED, name


def test_a_defect_of_the_evaluation_is_noticed(monkeypatch):
    """The trees are the same: only values can show it."""
    sound = evaluate._apply

    def wrong(operator, left, right):
        return 1 if operator is Operator.IMPLIES and not right else sound(operator, left, right)

    monkeypatch.setattr(evaluate, "_apply", wrong)
    found = second_reading(TRIAL, DOCUMENT)
    assert found.verdict is Verdict.REFUTED and "different values" in found.detail


def test_a_defect_of_the_step_is_noticed(monkeypatch):
    """Right-hand sides that read what was assigned in the same tick, in the reference only."""
    sound = ReferenceMachine._act

    def in_turn(self, index):
        sound(self, index)
        self._values = {**self._values, **self.variables}
        sound(self, index)

    monkeypatch.setattr(ReferenceMachine, "_act", in_turn)
    found = second_reading(TRIAL, DOCUMENT)
    assert found.verdict is Verdict.REFUTED and "a tick in the state" in found.detail


def test_without_a_file_there_is_no_verdict():
    assert second_reading(TRIAL, None).verdict is Verdict.NOT_RUN


def test_a_table_that_it_does_not_know_leaves_the_question_open():
    found = second_reading(TRIAL, {**DOCUMENT, "novelties": {}})
    assert found.verdict is Verdict.UNFINISHED and "novelties" in found.detail


def test_a_file_that_it_cannot_read_is_a_disagreement():
    rows = [{**row, "actions": {"wait": "3 +"}} for row in DOCUMENT["rows"]]
    found = second_reading(TRIAL, {**DOCUMENT, "rows": rows})
    assert found.verdict is Verdict.REFUTED and "cannot read" in found.detail
