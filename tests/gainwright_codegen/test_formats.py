"""Other forms of a trial: every row is there, in a form that general tools read."""

from __future__ import annotations

import csv
import io
import re

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_cli.main import main
from gainwright_codegen.formats import FORMATS

TRIAL = load_trial(shipped_trial_path())


def test_every_row_is_in_the_csv_with_its_conditions():
    lines = list(csv.DictReader(io.StringIO(FORMATS["csv"][1](TRIAL))))
    assert [line["row"] for line in lines] == [
        row.id for state in TRIAL.states for row in TRIAL.rows_by_state[state.name]
    ]
    rows = {row.id: row for row in TRIAL.rows}
    for line in lines:
        row = rows[line["row"]]
        entries = {c.name: line[c.name] for c in TRIAL.conditions}
        assert {name for name, entry in entries.items() if entry == "Y"} == set(row.when)
        assert {name for name, entry in entries.items() if entry == "N"} == set(row.unless)
        assert (line["state"], line["next_state"]) == (row.source, row.target)


def test_every_way_between_states_is_in_the_graph():
    text = FORMATS["dot"][1](TRIAL)
    arrows = re.findall(r'^  "(\w+)" -> "(\w+)" \[label="(\w+)"\]$', text, re.M)
    assert sorted(arrows) == sorted(
        (row.source, row.target, row.id.split("@")[0])
        for row in TRIAL.rows
        if row.source != row.target
    )
    assert text.count("{") == text.count("}") == 1


@pytest.mark.parametrize("name", FORMATS)
def test_formats_are_printed_and_the_same_each_time(name, capsys):
    assert main(["show", "--as", name]) == 0
    assert capsys.readouterr().out == FORMATS[name][1](TRIAL)


def test_an_unknown_format_is_named(capsys):
    assert main(["show", "--as", "cvs"]) == 2
    assert "did you mean csv?" in capsys.readouterr().err
