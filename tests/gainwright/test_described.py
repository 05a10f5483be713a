"""The engine behind trials and machine descriptions: shapes, messages and schema agree."""

from __future__ import annotations

import math

import jsonschema
import pytest

from gainwright.described.nearest import nearest, suggestion
from gainwright.described.problems import Problems
from gainwright.described.shape import ListShape, choice, number, said, whole_number
from gainwright.described.table import Key, read_table, table_schema
from gainwright.errors import InputError

LAYOUT = {
    "speed": Key(number(0, 10), "how fast"),
    "count": Key(whole_number(1, 2**33), "how many", required=False),
    "kind": Key(choice("belt", "screw"), "what it is", required=False),
    "list": Key(ListShape(number(-1, 1), 3, "write [0.5]"), "some", required=False),
}
VALUES = [
    0, 10, 10.0, -1, 11, 1.5, 3.0, 2**33, 2**34, 10**400, True, False, "belt", "bolt", "", " ",
    "3.5", [], [0.5], [0, 2], [0, "x", 5], [0, 0, 0, 0], {}, {"a": 1},
    math.nan, math.inf, -math.inf,
]  # fmt: skip


@pytest.mark.parametrize("name", LAYOUT)
@pytest.mark.parametrize("place", range(len(VALUES)))
def test_reader_and_schema_agree(name, place):
    shape, value = LAYOUT[name].shape, VALUES[place]
    if isinstance(value, float) and not math.isfinite(value):
        assert shape.slips(value)  # JSON has no such numbers
        return
    if isinstance(value, list) and len(value) > 3:
        return  # the reader of a description says what to leave out
    fits = jsonschema.Draft202012Validator(dict(shape.schema)).is_valid(value)
    assert (shape.slips(value) == []) == fits
    for slip in shape.slips(value):
        assert slip.found and slip.expected and slip.remedy


def test_every_problem_of_a_table_is_reported():
    problems = Problems("axis.toml")
    good = read_table({"sped": 1, "kind": "bolt", "list": [0, 5, "x"]}, LAYOUT, "[a]", problems)
    assert good == {}
    with pytest.raises(InputError) as caught:
        problems.raise_if_any()
    places = [(p.place, p.found, p.remedy) for p in caught.value.problems]
    assert places == [
        ("[a]", "the unknown key 'sped'", "did you mean 'speed'?"),
        ("[a], kind", "the text 'bolt'", "did you mean 'belt'?"),
        ("[a], list[1]", "the integer 5", "check the value and its unit"),
        ("[a], list[2]", "the text 'x'", "give a number"),
        ("[a]", "no key 'speed'", "add speed = ..."),
    ]


@pytest.mark.parametrize(
    ("value", "remedy"),
    [
        ("3.5", "write 3.5 without quotes"),
        (True, "give a number"),
        (math.nan, "give a finite number; 0 means none"),
        (-3, "give a positive value"),
        (30, "check the value and its unit"),
    ],
)
def test_remedies_of_numbers(value, remedy):
    (slip,) = number(0, 10).slips(value)
    assert slip.remedy == remedy


def test_a_table_that_is_none():
    problems = Problems("axis.toml")
    assert read_table(3, LAYOUT, "[a]", problems) == {}
    with pytest.raises(InputError, match="the integer 3"):
        problems.raise_if_any()


def test_schema_of_a_table():
    schema = table_schema(LAYOUT, "an axis")
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    assert validator.is_valid({"speed": 3, "kind": "belt"})
    assert not validator.is_valid({"kind": "belt"})
    assert not validator.is_valid({"speed": 3, "sped": 3})


def test_nearest_and_said():
    assert nearest("sped", LAYOUT) == "speed" and nearest("xyz", LAYOUT) is None
    assert suggestion("xyz", LAYOUT) == "declare it or remove it"
    assert said("x" * 100) == f"the text '{'x' * 57}...'"


LENGTHS = {
    "length_m": Key(number(0, 9), "length", quantity="length"),
    "length_turns": Key(number(0, 9), "the same in turns", quantity="length"),
    "play_rad": Key(number(0, 1), "play", required=False, default=0.0),
}


def read_lengths(table):
    problems = Problems("axis.toml")
    return read_table(table, LENGTHS, "[a]", problems), [p.found for p in problems]


def test_one_of_alternatives_is_enough_and_defaults_are_entered():
    assert read_lengths({"length_turns": 3}) == ({"length_turns": 3.0, "play_rad": 0.0}, [])


def test_alternatives_given_twice_or_not_at_all():
    assert read_lengths({"length_m": 1, "length_turns": 1})[1] == ["the same quantity given twice"]
    assert read_lengths({})[1] == ["no key 'length_m'"]


def test_the_schema_wants_exactly_one_of_required_alternatives():
    assert table_schema(LENGTHS)["allOf"] == [
        {"oneOf": [{"required": ["length_m"]}, {"required": ["length_turns"]}]}
    ]
