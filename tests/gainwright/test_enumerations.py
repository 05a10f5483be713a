"""Named values: read with a type of their own, lowered to integers, said in words."""

from __future__ import annotations

import io
import tomllib

import jsonschema
import pytest
from rich.console import Console

from gainwright.errors import InputError
from gainwright.language.expression import Binary, Integer, Operator, Reference
from gainwright.language.load import trial_from_document
from gainwright.language.model import Kind
from gainwright.language.schema import trial_schema
from gainwright.language.sentence import sentence
from gainwright.language.write import write
from gainwright.semantics.machine import ReferenceMachine
from gainwright.semantics.monitor import Monitor, Snapshot
from gainwright_cli.views.tables import render_trial

from ..shared.small_trial import SMALL

BLOCK = """\
[enumerations.reason]
not_ended = { words = "the search has not ended" }
onset_heard = { words = "onset was reported", remedy = "Nothing: this is the aim." }
time_over = { words = "the search took too long", remedy = "Give it more patience." }

[enumerations.colour]
green = { words = "all is well" }
red = { words = "look here" }

"""
EDITS = (
    ("[inputs]\n", BLOCK + "[inputs]\n"),
    (
        "[outputs]\n",
        'why = { kind = "enumeration", of = "reason", initial = "not_ended", meaning = "Why" }\n\n'
        "[outputs]\n"
        'lamp = { kind = "enumeration", of = "colour", '
        'default = "if why == time_over then red else green", meaning = "Lamp" }\n',
    ),
    ("actions = { rung = 0, time = 0 }", 'actions = { rung = 0, time = 0, why = "not_ended" }'),
    ("found = true }", 'found = true, why = "onset_heard" }'),
    ('to = "rest"\nwhy = "Too late."', 'to = "rest"\nactions.why = "time_over"\nwhy = "Too late."'),
    (
        'formula = "found implies result + 2 <= limit or result == 0"',
        'formula = "why < time_over implies lamp == green"',
    ),
)


def text(*edits: tuple[str, str]) -> str:
    result = SMALL
    for old, new in (*EDITS, *edits):
        assert result.count(old) == 1, f"{old!r} occurs {result.count(old)} times"
        result = result.replace(old, new)
    return result


def load(*edits: tuple[str, str]):
    return trial_from_document(tomllib.loads(text(*edits)), "x.toml")


def test_values_are_integers_in_the_order_of_the_file():
    trial = load()
    assert [e.name for e in trial.enumerations] == ["reason", "colour"]
    reason = trial.enumeration("reason")
    assert [v.name for v in reason.values] == ["not_ended", "onset_heard", "time_over"]
    (why,) = (v for v in trial.variables if v.name == "why")
    assert (why.kind, why.low, why.high, why.enumeration) == (Kind.INTEGER, 0, 2, "reason")
    assert trial.value_of(why, 2).words == "the search took too long"
    assert trial.value_of(why, 2).remedy == "Give it more patience."
    assert trial.value_of(trial.variables[0], 2) is None
    action = next(row for row in trial.rows if row.id == "too_late").actions["why"]
    assert action == Integer(2, "time_over")


def test_the_reference_runs_with_them():
    machine = ReferenceMachine(load())
    machine.tick({"go": 1, "level": 0})
    while machine.state == "search":
        machine.tick({"go": 1, "level": 0})
    assert machine.variables["why"] == 2
    assert machine.outputs()["lamp"] == 1


def test_a_violation_names_the_value():
    trial = load()
    values = {v.name: v.initial for v in trial.variables}
    outputs = {o.name: 0 for o in trial.outputs}
    monitor = Monitor(trial, Snapshot("rest", values, {**outputs, "lamp": 1}))
    (violation,) = monitor.first_violations
    assert violation.values == {"state": "rest", "why": "not_ended", "lamp": "red"}


def test_written_and_said_by_name():
    tree = Binary(Operator.EQUAL, Reference("why"), Integer(2, "time_over"))
    assert write(tree) == "why == time_over"
    assert "time over" in sentence(tree)


def test_shown_with_words_and_remedies():
    stream = io.StringIO()
    render_trial(load(), Console(file=stream, width=200))
    shown = stream.getvalue()
    assert "Enumeration reason" in shown and "one of reason" in shown
    for value in load().enumeration("reason").values:
        assert value.name in shown and value.words in shown and value.remedy in shown


def test_names_words_and_order_are_in_the_digest():
    plain = load().digest
    assert plain == load(("[inputs]\n", "# a comment\n[inputs]\n")).digest
    assert plain != load(('words = "look here"', 'words = "look there"')).digest
    assert plain != load(('"Give it more patience."', '"Give it less."')).digest
    green = 'green = { words = "all is well" }\n'
    red = 'red = { words = "look here" }\n'
    assert plain != load((green + red, red + green)).digest


MISTAKES = {
    "value of another enumeration": (
        '"if why == time_over then',
        '"if why == red then',
        "default",
        "a value of the enumeration 'reason' compared with a value of the enumeration 'colour'",
        "by its name",
    ),
    "compared with an integer": (
        '"why < time_over implies',
        '"why < 2 implies',
        "formula",
        "a value of the enumeration 'reason' compared with an integer: why < 2",
        "a value of 'reason' by its name",
    ),
    "arithmetic": (
        'actions.why = "time_over"',
        'actions.why = "why + 1"',
        "actions, why",
        "a value of the enumeration 'reason' as operand of +: why",
        "no amounts",
    ),
    "smallest of two": (
        'actions.why = "time_over"',
        'actions.why = "min(why, time_over)"',
        "actions, why",
        "as operand of min",
        "no amounts",
    ),
    "choice of two types": (
        "then red else green",
        "then red else not_ended",
        "[outputs] lamp, default",
        "as the two values of",
        "same type",
    ),
    "assignment of an integer": (
        'actions.why = "time_over"',
        "actions.why = 2",
        "actions, why",
        "an integer: 2",
        "write one of not_ended, onset_heard, time_over",
    ),
    "assignment to an integer": (
        'actions.why = "time_over"',
        'actions.time = "time_over"',
        "actions, time",
        "a value of the enumeration 'reason': time_over",
        "an integer",
    ),
    "assignment of the other one": (
        'actions.why = "time_over"',
        'actions.why = "red"',
        "actions, why",
        "a value of the enumeration 'colour': red",
        "write one of not_ended",
    ),
    "initial value misspelt": (
        'initial = "not_ended"',
        'initial = "not_endet"',
        "[variables] why, initial",
        "unknown name 'not_endet'",
        "did you mean 'not_ended'?",
    ),
    "unknown enumeration": (
        'of = "reason"',
        'of = "raeson"',
        "[variables] why, of",
        "unknown enumeration 'raeson'",
        "did you mean 'reason'?",
    ),
    "no enumeration named": (
        'of = "reason", ',
        "",
        "[variables] why",
        "an enumeration without its name",
        "add of",
    ),
    "range": (
        'of = "reason"',
        'of = "reason", range = [0, 2]',
        "[variables] why, range",
        "a range of an enumeration",
        "remove the range",
    ),
    "of without the kind": (
        'kind = "enumeration", of = "reason"',
        'kind = "integer", range = [0, 2], of = "reason"',
        "[variables] why, of",
        "of in a value of kind integer",
        'kind = "enumeration"',
    ),
    "input": (
        'go = { kind = "boolean"',
        'go = { kind = "enumeration"',
        "[inputs] go, kind",
        "'enumeration'",
        "one of",
    ),
    "value without words": (
        '{ words = "look here" }',
        "{}",
        "[enumerations.colour] red",
        "no key 'words'",
        "add words",
    ),
    "unknown key of a value": (
        'words = "look here"',
        'words = "look here", remedi = "Look."',
        "[enumerations.colour] red",
        "unknown key 'remedi'",
        "did you mean 'remedy'?",
    ),
    "text as a value": (
        '{ words = "look here" }',
        '"look here"',
        "[enumerations.colour] red",
        "the text 'look here'",
        "words",
    ),
    "bad value name": (
        "red = {",
        "Red = {",
        "[enumerations.colour] Red",
        "'Red'",
        "lower case",
    ),
    "value name used already": (
        "red = {",
        "level = {",
        "[inputs] level",
        "a value of the enumeration 'colour' already",
        "rename",
    ),
    "value name twice": (
        "red = {",
        "not_ended = {",
        "[enumerations.colour] not_ended",
        "a value of the enumeration 'reason' already",
        "rename",
    ),
    "no values": (
        'green = { words = "all is well" }\nred = { words = "look here" }\n',
        "",
        "[enumerations] colour",
        "no value in it",
        "add its values",
    ),
    "unused value": (
        'red = { words = "look here" }\n',
        'red = { words = "look here" }\nblue = { words = "cold" }\n',
        "blue",
        "a value of the enumeration 'colour' that nothing reads",
        "remove it",
    ),
    "enumeration as a limit": (
        '\nlimit = "limit"',
        '\nlimit = "why"',
        "[stages] speed_gain, limit",
        "'why' of kind enumeration",
        "kind integer",
    ),
}


@pytest.mark.parametrize("case", MISTAKES)
def test_mistakes_are_reported_in_their_place(case):
    old, new, place, found, advice = MISTAKES[case]
    with pytest.raises(InputError) as caught:
        load((old, new))
    assert any(
        place in p.place and found in p.found and advice in f"{p.expected} {p.remedy}"
        for p in caught.value.problems
    ), str(caught.value)


@pytest.mark.parametrize("content", ["enumerations = 3", "[enumerations]\nreason = 3"])
def test_no_table_of_tables(content):
    document = tomllib.loads(SMALL) | tomllib.loads(content)
    with pytest.raises(InputError, match="the integer 3"):
        trial_from_document(document, "x.toml")


VALIDATOR = jsonschema.Draft202012Validator(trial_schema())


def test_the_schema_takes_them_and_refuses_wrong_shapes():
    VALIDATOR.validate(tomllib.loads(text()))
    for case in ("input", "value without words", "unknown key of a value", "bad value name",
                 "no values", "text as a value"):  # fmt: skip
        assert not VALIDATOR.is_valid(tomllib.loads(text(MISTAKES[case][:2]))), case
