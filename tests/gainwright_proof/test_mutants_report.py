"""The report: what the file lists, what provers say, the same bytes every time, plain words."""

from __future__ import annotations

import json
import tomllib

import pytest
from rich.console import Console

from gainwright.errors import InputError
from gainwright.language.load import trial_from_document
from gainwright.language.model import Trial
from gainwright.language.schema import trial_schema
from gainwright_cli.views.mutants import render_mutants
from gainwright_proof.mutants.outcome import Fate, Stage
from gainwright_proof.mutants.report import MutantReport
from gainwright_proof.mutants.run import run_mutants
from gainwright_proof.verdict import Finding, Verdict

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


# Provers: functions at the top of a module, so that they can be sent to other processes.


def everything_proved(trial: Trial) -> list[Finding]:
    return [Finding(r.id, "by hand", Verdict.PROVED, "") for r in trial.requirements]


def refuted(trial: Trial) -> list[Finding]:
    return [
        Finding("ends", "by hand", Verdict.REFUTED, ""),
        Finding("can_find", "by hand", Verdict.PROVED, ""),
    ]


def unfinished(trial: Trial) -> list[Finding]:
    return [
        Finding("ends", "by hand", Verdict.UNFINISHED, "time ran out"),
        Finding("can_find", "by hand", Verdict.PROVED, ""),
        Finding("can_find", "by another hand", Verdict.NOT_RUN, "not installed"),
    ]


def nothing(trial: Trial) -> list[Finding]:
    return []


def same(original: Trial, changed: Trial) -> bool:
    assert original.digest != changed.digest != ""
    return True


def other(original: Trial, changed: Trial) -> bool:
    return False


def test_without_a_prover_what_is_left_over_is_undecided_and_says_so():
    report = run_mutants(small(), workers=1)
    assert report.survivors == ()
    assert len(report.undecided) == 26
    assert all("no prover was asked" in judged.outcome.detail for judged in report.undecided)
    assert all(judged.outcome.stage is Stage.NONE for judged in report.undecided)


@pytest.mark.parametrize(
    ("decide", "fate", "words"),
    [
        (everything_proved, Fate.SURVIVED, "every requirement is proved"),
        (refuted, Fate.CAUGHT, ""),
        (unfinished, Fate.UNDECIDED, "not proved: ends"),
        (nothing, Fate.UNDECIDED, "not proved: anything"),
    ],
)
def test_the_prover_decides_what_is_left_over(decide, fate, words):
    report = run_mutants(small(), workers=1, decide=decide)
    judged = found(report, SLOWER[0])
    assert judged.fate is fate
    assert judged.outcome.stage is Stage.PROVER
    assert words in judged.outcome.detail
    if decide is refuted:
        assert judged.outcome.caught_by == ("ends",)
    # What was decided before is not put to the prover.
    assert found(report, "timeout_removed/late").outcome.stage is Stage.EXPLORED


def test_the_prover_may_find_trials_alike_or_different():
    report = run_mutants(small(), workers=1, decide=everything_proved, equivalent=same)
    assert found(report, SLOWER[0]).fate is Fate.EQUIVALENT
    assert report.survivors == ()
    report = run_mutants(small(), workers=1, decide=everything_proved, equivalent=other)
    assert found(report, SLOWER[0]).outcome.differs


def test_an_entry_in_the_file_that_is_not_true_does_not_hide_a_survivor():
    trial = small(("slow", SLOWER, "Nobody cares."))
    judged = found(run_mutants(trial, workers=1, decide=everything_proved), SLOWER[0])
    assert judged.fate is Fate.SURVIVED
    assert "the file calls it equivalent (slow), but it is not" in judged.outcome.detail


def test_an_entry_that_can_not_be_checked_is_shown_with_its_reason():
    trial = small(("odd", ["action_doubled/onset/*"], "The rung is odd."))
    report = run_mutants(trial, workers=1)
    judged = found(report, SLOWER[0])
    if judged.outcome.differs:
        assert judged.fate is Fate.UNDECIDED
    else:
        assert judged.fate is Fate.LISTED
        assert "odd: The rung is odd." in shown(report)


def test_entries_that_fit_nothing_left_over_are_reported():
    trial = small(("gone", ["row_removed/*", "retargeted/nobody/*"], "Old."))
    report = run_mutants(trial, workers=1)
    assert report.unused == (("gone", "row_removed/*"), ("gone", "retargeted/nobody/*"))
    assert "'retargeted/nobody/*' fits no mutant that is left over" in shown(report)


def test_equivalent_mutants_without_a_reason_are_counted():
    old = 'unless = ["wanted"]\nwhy = "Not asked for."'
    new = 'unless = ["wanted"]\nactions = { found = "found" }\nwhy = "Not asked for."'
    trial = trial_from_document(tomllib.loads(SMALL.replace(old, new)), "small.toml")
    report = run_mutants(trial, workers=1)
    assert "action_dropped/stay/found" in [judged.id for judged in report.without_reason]
    assert f"{len(report.without_reason)} equivalent mutants are not listed" in shown(report)


def test_the_same_bytes_with_one_process_and_with_two():
    told: list[tuple[int, int]] = []
    one = run_mutants(small(), workers=1)
    two = run_mutants(small(), workers=2, progress=lambda done, total: told.append((done, total)))
    assert json.dumps(one.as_json()) == json.dumps(two.as_json())
    assert told[-1] == (len(one.judged), len(one.judged))
    assert [done for done, _ in told] == sorted({done for done, _ in told})


def test_the_data_add_up():
    report = run_mutants(small(), workers=1)
    data = report.as_json()
    assert data == json.loads(json.dumps(data))
    assert data["trial"]["digest"] == report.trial.digest
    assert sum(sum(row.values()) for row in data["counts"].values()) == len(data["mutants"])
    assert sum(data["decided_by"].values()) == len(data["mutants"])
    assert data["catches"]["ends"] == sum(
        "ends" in mutant.get("caught_by", ()) for mutant in data["mutants"]
    )
    left = next(m for m in data["mutants"] if m["fate"] == "undecided")
    assert left["rows"] and left["change"]


def test_the_view_names_every_row_that_is_left_over():
    report = run_mutants(small(), workers=1, decide=everything_proved)
    text = shown(report)
    assert "survived  row 'onset' assigns max(rung - 2, 0) to 'rung' twice" in text
    assert "84" in text and "decided by one tick from a reachable moment" in text
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
