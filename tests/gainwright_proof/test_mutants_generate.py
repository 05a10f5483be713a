"""Every single-row change is made, once, and changes what it says.

Mutation analysis after R. A. DeMillo, R. J. Lipton and F. G. Sayward, "Hints on test data
selection", IEEE Computer 11 (1978) 34-41 (from memory); which changes are made is ours.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from dataclasses import replace

import pytest

from gainwright.language.expression import Boolean, Integer
from gainwright.language.load import load_trial, trial_from_document
from gainwright.language.parse import parse
from gainwright.language.shipped import shipped_trial_path
from gainwright.language.write import write
from gainwright.semantics.evaluate import evaluate
from gainwright.semantics.machine import ReferenceMachine
from gainwright_proof.mutants.generate import mutants
from gainwright_proof.mutants.mutant import MutationKind
from gainwright_proof.mutants.thresholds import off_by_one

from ..shared.small_trial import SMALL, edited

SMALL_TRIAL = trial_from_document(tomllib.loads(SMALL), "small.toml")
SHIPPED = load_trial(shipped_trial_path())
BY_ID = {mutant.id: mutant for mutant in mutants(SMALL_TRIAL)}


def small(*edits: tuple[str, str]):
    return trial_from_document(tomllib.loads(edited(*edits)), "small.toml")


def of_kind(kind: MutationKind) -> list[str]:
    return [m.id.removeprefix(f"{kind.value}/") for m in BY_ID.values() if m.kind is kind]


def test_small_trial_written_out_by_hand():
    assert of_kind(MutationKind.ROW_REMOVED) == [
        "begin", "stay", "leave", "onset", "too_late", "raise",
    ]  # fmt: skip
    assert of_kind(MutationKind.RETARGETED) == [
        "begin/rest", "stay/search", "leave/search", "onset/search", "too_late/search",
        "raise/rest",
    ]  # fmt: skip
    assert of_kind(MutationKind.LITERAL_FLIPPED) == [
        "begin/wanted", "stay/wanted", "leave/wanted", "onset/wanted", "onset/loud",
        "too_late/wanted", "too_late/late", "too_late/loud", "raise/wanted", "raise/loud",
        "raise/late",
    ]  # fmt: skip
    assert of_kind(MutationKind.LITERAL_DROPPED) == of_kind(MutationKind.LITERAL_FLIPPED)
    assert of_kind(MutationKind.LITERAL_ADDED)[:4] == [
        "begin/loud/true", "begin/loud/false", "begin/late/true", "begin/late/false",
    ]  # fmt: skip
    assert of_kind(MutationKind.ACTION_DROPPED) == [
        "begin/rung", "begin/time", "onset/limit", "onset/result", "onset/rung", "onset/found",
        "raise/rung", "raise/time",
    ]  # fmt: skip
    assert of_kind(MutationKind.ACTION_DOUBLED) == ["onset/rung", "raise/rung", "raise/time"]
    assert of_kind(MutationKind.ACTION_OFF) == [
        "begin/rung/plus_one", "begin/time/plus_one", "onset/limit/plus_one",
        "onset/limit/minus_one", "onset/result/plus_one", "onset/result/minus_one",
        "onset/rung/plus_one", "onset/rung/minus_one", "onset/found/opposite",
        "raise/rung/plus_one", "raise/rung/minus_one", "raise/time/plus_one",
        "raise/time/minus_one",
    ]  # fmt: skip
    assert of_kind(MutationKind.THRESHOLD_OFF) == [
        "loud/50/plus_one", "loud/50/minus_one", "late/patience/plus_one",
        "late/patience/minus_one",
    ]  # fmt: skip
    # leave and too_late both lead to rest and do nothing: there is nothing to exchange.
    assert of_kind(MutationKind.ROWS_SWAPPED) == [
        "begin/stay", "leave/onset", "leave/raise", "onset/too_late", "onset/raise",
        "too_late/raise",
    ]  # fmt: skip
    assert of_kind(MutationKind.TIMEOUT_REMOVED) == ["late", "late/search"]


@pytest.mark.parametrize("trial", [SMALL_TRIAL, SHIPPED], ids=["small", "shipped"])
def test_numbers_follow_from_the_tables(trial):
    counts = Counter(mutant.kind for mutant in mutants(trial))
    literals = sum(len(row.when) + len(row.unless) for row in trial.rows)
    everything = len(trial.rows) * len(trial.conditions)
    assert counts[MutationKind.ROW_REMOVED] == len(trial.rows)
    assert counts[MutationKind.RETARGETED] == len(trial.rows) * (len(trial.states) - 1)
    assert counts[MutationKind.LITERAL_DROPPED] == literals
    assert counts[MutationKind.LITERAL_FLIPPED] == literals
    assert counts[MutationKind.LITERAL_ADDED] == 2 * (everything - literals)
    assert counts[MutationKind.ACTION_DROPPED] == sum(len(row.actions) for row in trial.rows)


@pytest.mark.parametrize("trial", [SMALL_TRIAL, SHIPPED], ids=["small", "shipped"])
def test_ids_are_unique_and_every_mutant_is_another_trial(trial):
    found = mutants(trial)
    assert len({mutant.id for mutant in found}) == len(found)
    assert [mutant.id for mutant in mutants(trial)] == [mutant.id for mutant in found]
    for mutant in found:
        changed = mutant.trial(trial)
        assert (changed.rows, changed.conditions) != (trial.rows, trial.conditions)
        known = {row.id for row in trial.rows}
        assert mutant.rows and set(mutant.rows) <= known
        assert set(mutant.states) == {r.source for r in trial.rows if r.id in mutant.rows}
        assert changed.requirements == trial.requirements


def test_digests_tell_mutants_from_the_original_and_from_each_other():
    digests = {m.digested(SMALL_TRIAL).digest for m in BY_ID.values()} | {SMALL_TRIAL.digest}
    assert len(digests) == len(BY_ID) + 1


def test_rows_that_are_not_named_stay_as_they_are():
    for mutant in BY_ID.values():
        if not mutant.new_conditions:
            before = {r.id: r for r in SMALL_TRIAL.rows if r.id not in mutant.rows}
            after = {r.id: r for r in mutant.trial(SMALL_TRIAL).rows if r.id not in mutant.rows}
            assert before == after


def ticked(mutant_id: str, state: str, inputs: dict[str, int], **variables: int):
    """Return state and variables after one tick of a mutant of the small trial."""
    machine = ReferenceMachine(BY_ID[mutant_id].digested(SMALL_TRIAL))
    machine.restore(state, {**machine.variables, **variables})
    machine.tick(inputs)
    return machine.state, machine.variables


CALM, LOUD = {"go": 1, "level": 0}, {"go": 1, "level": 60}


@pytest.mark.parametrize(
    ("mutant", "inputs", "start", "state", "expected"),
    [
        ("retargeted/raise/rest", CALM, {"rung": 3}, "rest", {"rung": 4}),
        ("action_dropped/raise/rung", CALM, {"rung": 3}, "search", {"rung": 3, "time": 1}),
        ("action_doubled/raise/rung", CALM, {"rung": 3}, "search", {"rung": 5, "time": 1}),
        ("action_doubled/raise/rung", CALM, {"rung": 6}, "search", {"rung": 7}),
        ("action_doubled/onset/rung", LOUD, {"rung": 7}, "rest", {"rung": 3, "limit": 7}),
        ("action_doubled/onset/rung", LOUD, {"rung": 3}, "rest", {"rung": 0, "result": 1}),
        ("action_off/raise/rung/minus_one", CALM, {"rung": 3}, "search", {"rung": 3}),
        ("action_off/onset/found/opposite", LOUD, {"rung": 3}, "rest", {"found": 0}),
        ("threshold_off/loud/50/plus_one", {"go": 1, "level": 51}, {}, "search", {"rung": 1}),
        ("threshold_off/loud/50/minus_one", {"go": 1, "level": 50}, {}, "rest", {"found": 1}),
        ("timeout_removed/late", CALM, {"time": 10}, "search", {"time": 10, "rung": 1}),
        ("timeout_removed/late/search", CALM, {"time": 10}, "search", {"rung": 1}),
        ("rows_swapped/onset/raise", CALM, {"rung": 3}, "rest", {"rung": 1, "limit": 3}),
    ],
)
def test_a_mutant_does_what_it_says(mutant, inputs, start, state, expected):
    reached, variables = ticked(mutant, "search", inputs, **start)
    assert reached == state
    assert {name: variables[name] for name in expected} == expected


def test_changes_are_said_in_words():
    said = {name: BY_ID[name].change for name in BY_ID}
    assert said["retargeted/raise/rest"] == "row 'raise' leads to rest instead of search"
    assert "wants 'loud' false instead of true" in said["literal_flipped/onset/loud"]
    assert "time + 1 to 'time' twice in the tick" in said["action_doubled/raise/time"]
    assert "51 instead of 50" in said["threshold_off/loud/50/plus_one"]
    assert "11 instead of patience = 10" in said["threshold_off/late/patience/plus_one"]


def test_a_constant_off_by_one_in_a_condition_stays_itself_elsewhere():
    mutant = BY_ID["threshold_off/late/patience/plus_one"]
    (late,) = mutant.new_conditions.values()
    assert write(late.expression) == "time >= 11"
    assert mutant.trial(SMALL_TRIAL).constant("patience") == 10


def test_numbers_that_occur_twice_are_told_apart():
    trial = small(("level > 50", "level > 50 and level < 50 + top"))
    ids = [m.id for m in mutants(trial) if m.kind is MutationKind.THRESHOLD_OFF]
    assert ids[:6] == [
        "threshold_off/loud/50/1/plus_one", "threshold_off/loud/50/1/minus_one",
        "threshold_off/loud/50/2/plus_one", "threshold_off/loud/50/2/minus_one",
        "threshold_off/loud/top/plus_one", "threshold_off/loud/top/minus_one",
    ]  # fmt: skip


def test_numbers_that_could_not_be_written_are_left_alone():
    shifted = small(("level > 50", "level << 24 > 838860800"))
    ids = [m.id for m in mutants(shifted) if m.id.startswith("threshold_off/loud")]
    assert ids == [  # 100 << 25 does not fit 32 bits
        "threshold_off/loud/24/minus_one",
        "threshold_off/loud/838860800/plus_one",
        "threshold_off/loud/838860800/minus_one",
    ]


def test_conditions_of_requirements_alone_are_no_rows():
    trial = small(
        ("[states.rest]", 'high = { holds = "rung > 3", meaning = "High" }\n\n[states.rest]'),
        ("next(rung) > rung implies", "next(rung) > rung or high and not high implies"),
    )
    assert not [m.id for m in mutants(trial) if m.id.startswith("threshold_off/high")]


def test_conditions_read_through_others_change_the_rows_of_those():
    trial = small(
        (
            'loud = { holds = "level > 50"',
            'high = { holds = "level > 60", meaning = "High" }\nloud = { holds = "high"',
        )
    )
    found = {m.id: m for m in mutants(trial)}
    assert found["threshold_off/high/60/plus_one"].rows == ("onset", "too_late", "raise")


@pytest.mark.parametrize(
    ("text", "place", "expected"),
    [
        ("a + 3 * b - 4", 0, 3 + 4 * 7 - 4),
        ("a + 3 * b - 4", 1, 3 + 3 * 7 - 5),
        ("if a >= 4 then 1 else b", 0, 7),
        ("if a >= 3 then 1 else b", 1, 2),
        ("min(a, 2) + max(b, 9)", 1, 2 + 10),
    ],
)
def test_off_by_one_counts_literals_from_the_left(text, place, expected):
    changed = off_by_one(parse(text, {}), place, 1)
    assert evaluate(changed, {"a": 3, "b": 7}) == expected


def test_saturating_assignments_are_doubled_step_by_step():
    """The second assignment reads what the first left in the variable: its range, not beyond."""
    (raising,) = [row for row in SMALL_TRIAL.rows if row.id == "raise"]
    row = replace(raising, actions={"rung": parse("rung - 5", {})})
    rows = tuple(row if r.id == "raise" else r for r in SMALL_TRIAL.rows)
    trial = replace(SMALL_TRIAL, rows=rows)
    (mutant,) = [m for m in mutants(trial) if m.id == "action_doubled/raise/rung"]
    doubled = mutant.new_rows["raise"].actions["rung"]
    assert evaluate(doubled, {"rung": 3}) == -5  # 3 - 5 stops at 0, then 0 - 5
    assert evaluate(doubled, {"rung": 7}) == -3


def test_literals_keep_their_place():
    assert isinstance(BY_ID["timeout_removed/late"].new_conditions["late"].expression, Boolean)
    assert Integer(1) in [BY_ID["action_off/begin/time/plus_one"].new_rows["begin"].actions["time"]]
