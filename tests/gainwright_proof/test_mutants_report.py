"""The report: what the file lists, plain words, data that add up."""

from __future__ import annotations

import json
import tomllib
from functools import cache

import pytest
from rich.console import Console

from gainwright.errors import InputError
from gainwright.language.load import trial_from_document
from gainwright.language.model import Trial
from gainwright.language.schema import trial_schema
from gainwright_cli.views.mutants import render_mutants
from gainwright_proof.mutants.judge import judge_mutants
from gainwright_proof.mutants.report import MutantReport, Outcome

from ..shared.small_trial import SMALL

SAME = """
[equivalent_mutants.{name}]
mutants = {mutants}
why = "{why}"
"""
SLOWER = ["action_doubled/onset/rung"]
"""Leaves a lower rung after onset, which no requirement of the small trial forbids."""


def small(*entries: tuple[str, list[str], str]) -> Trial:
    text = SMALL + "".join(
        SAME.format(name=name, mutants=json.dumps(ids), why=why) for name, ids, why in entries
    )
    return trial_from_document(tomllib.loads(text), "small.toml")


def found(report: MutantReport, mutant_id: str):
    (judged,) = [judged for judged in report.judged if judged.id == mutant_id]
    return judged


def shown(report: MutantReport) -> str:
    console = Console(width=400, record=True, file=None, quiet=False)
    with console.capture() as capture:
        render_mutants(report, console)
    return capture.get()


@cache
def plain_report() -> MutantReport:
    return judge_mutants(small(), workers=1)


@pytest.mark.parametrize(
    "pattern", [SLOWER[0], *(pytest.param(p, marks=pytest.mark.slow) for p in ("*", "action_*"))]
)
def test_an_entry_in_the_file_does_not_hide_a_survivor(pattern):
    """Not even a wildcard: every mutant is looked at by itself."""
    report = judge_mutants(small(("slow", [pattern], "Nobody cares.")), workers=1)
    judged = found(report, SLOWER[0])
    assert judged.outcome is Outcome.SURVIVED
    assert "the file calls it equivalent (slow), which is not proved" in judged.detail
    assert judged.listed is None
    assert [j.id for j in report.survivors] == [j.id for j in plain_report().survivors]


def test_entries_that_fit_nothing_left_over_are_reported():
    trial = small(("gone", ["row_removed/*", "retargeted/nobody/*"], "Old."))
    report = judge_mutants(trial, workers=1)
    assert report.unused == (("gone", "row_removed/*"), ("gone", "retargeted/nobody/*"))
    assert "'retargeted/nobody/*' fits no mutant that is left over" in shown(report)


def test_equivalent_mutants_without_a_reason_are_counted():
    old = 'unless = ["wanted"]\nwhy = "Not asked for."'
    new = 'unless = ["wanted"]\nactions = { found = "found" }\nwhy = "Not asked for."'
    trial = trial_from_document(tomllib.loads(SMALL.replace(old, new)), "small.toml")
    report = judge_mutants(trial, workers=1)
    assert "action_dropped/stay/found" in [judged.id for judged in report.without_reason]
    assert f"{len(report.without_reason)} equivalent mutants are not listed" in shown(report)


def test_the_data_add_up():
    report = plain_report()
    data = report.as_json()
    assert data == json.loads(json.dumps(data))
    assert data["trial"]["digest"] == report.trial.digest
    assert sum(sum(row.values()) for row in data["counts"].values()) == len(data["mutants"])
    assert sum(data["decided_by"].values()) == len(data["mutants"])
    assert data["catches"]["ends"] == sum(
        "ends" in mutant.get("caught_by", ()) for mutant in data["mutants"]
    )
    left = next(m for m in data["mutants"] if m["outcome"] == "survived")
    assert left["rows"] and left["change"]


def test_the_view_names_every_row_that_is_left_over():
    report = plain_report()
    text = shown(report)
    assert "survived  row 'onset' assigns max(rung - 2, 0) to 'rung' twice" in text
    assert (
        "84" in text and "decided by comparison with the original over all that it reaches" in text
    )
    assert len([line for line in text.splitlines() if line.startswith("survived")]) == len(
        report.survivors
    )


@pytest.mark.parametrize(
    ("entry", "place", "words"),
    [
        ('[equivalent_mutants.a]\nmutants = []\nwhy = "x"', "mutants", "a list of texts"),
        ('[equivalent_mutants.a]\nmutants = "x"\nwhy = "x"', "mutants", "a list of texts"),
        ('[equivalent_mutants.a]\nmutants = ["x", 3]\nwhy = "x"', "mutants", "the integer 3"),
        ('[equivalent_mutants.a]\nmutants = ["x"]', "equivalent_mutants", "no key 'why'"),
        ('[equivalent_mutants.a]\nmutants = ["x"]\nwhy = " "', "why", "an empty text"),
        ('[equivalent_mutants.A]\nmutants = ["x"]\nwhy = "x"', "equivalent_mutants", "name 'A'"),
        ("equivalent_mutants = 3", "equivalent_mutants", "a table"),
    ],
)
def test_bad_entries_are_refused_in_one_go(entry, place, words):
    text = f"{entry}\n{SMALL}" if entry.endswith("= 3") else f"{SMALL}\n{entry}\n"
    with pytest.raises(InputError) as caught:
        trial_from_document(tomllib.loads(text), "small.toml")
    (problem,) = caught.value.problems
    assert place in problem.place
    assert words in f"{problem.found} {problem.expected}"


def test_entries_are_part_of_the_digest_and_of_the_schema():
    plain, listed = small(), small(("a", ["x"], "y"))
    assert plain.digest != listed.digest
    assert small(("a", ["x"], "y")).equivalent_mutants == listed.equivalent_mutants
    assert trial_schema()["properties"]["equivalent_mutants"]["minProperties"] == 0
