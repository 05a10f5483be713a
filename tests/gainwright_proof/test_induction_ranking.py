"""Bounded lengths: ranks give the exact longest time, and honest words where they give none."""

from __future__ import annotations

import tomllib
from functools import cache

import pytest

from gainwright.language.load import trial_from_document
from gainwright.language.model import Trial
from gainwright.semantics.machine import ReferenceMachine
from gainwright_proof.induction import search as search_module
from gainwright_proof.induction.examples import violated_in
from gainwright_proof.induction.prove import prove
from gainwright_proof.verdict import Finding, Verdict

from ..shared.small_trial import edited

STOCK = """\
[trial]
name = "stock"
title = "A stock is used up, three at a time"
tick_us = 1000
initial_state = "empty"

[inputs]
amount = { kind = "integer", range = [0, 100], meaning = "What is put in" }
idle = { kind = "boolean", meaning = "Nothing is asked for" }

[variables]
stock = { kind = "integer", range = [0, 100], initial = 0, meaning = "What is left" }
late = { kind = "boolean", initial = false, meaning = "The last visit was a late one" }

[conditions]
enough = { holds = "stock >= 3", meaning = "Enough for another tick" }
nothing = { holds = "idle", meaning = "Nothing is asked for" }
slow = { holds = "late", meaning = "A late visit takes a tick more" }

[states.empty]
meaning = "Nothing is used"
end = true

[states.full]
meaning = "The stock is used"

[[rows]]
id = "fill"
from = "empty"
unless = ["nothing"]
to = "full"
actions = { stock = "amount", late = "amount > 50" }
why = "Asked for."

[[rows]]
id = "rest"
from = "empty"
when = ["nothing"]
why = "Not asked for."

[[rows]]
id = "use"
from = "full"
when = ["enough"]
actions = { stock = "stock - 3" }
why = "Three less."

[[rows]]
id = "linger"
from = "full"
when = ["slow"]
unless = ["enough"]
actions = { late = false }
why = "One tick more."

[[rows]]
id = "leave"
from = "full"
unless = ["enough", "slow"]
to = "empty"
why = "Used up."

[hazards]
endless = { consequence = "It never ends" }

[requirements.used_up]
hazard = "endless"
sentence = "The stock is used up in time."
kind = "bounded"
trigger = "in_state(full)"
formula = "in_state(empty)"
within_ticks = WITHIN
proved_by = "ranking argument"

[requirements.answered]
hazard = "endless"
sentence = "Whatever is put in is used up in time."
kind = "response"
trigger = "not idle and in_state(empty)"
formula = "in_state(empty)"
within_ticks = ANSWERED
proved_by = "ranking argument"
"""


@cache
def _stock(within: int, answered: int) -> Trial:
    text = STOCK.replace("WITHIN", str(within)).replace("ANSWERED", str(answered))
    return trial_from_document(tomllib.loads(text), "stock.toml")


def _small(*edits: tuple[str, str]) -> Trial:
    return trial_from_document(tomllib.loads(edited(*edits)), "small.toml")


def _finding(trial: Trial, subject: str) -> Finding:
    (found,) = [f for f in prove(trial).findings if f.subject == subject]
    return found


def _longest_stay() -> int:
    """Longest time in the state full, by the reference, over everything that can be put in."""
    machine = ReferenceMachine(_stock(1, 1))
    longest = 0
    for amount in range(101):
        machine.reset()
        machine.tick({"amount": amount, "idle": 0})
        ticks = 0
        while machine.state == "full":
            machine.tick({"amount": 0, "idle": 1})
            ticks += 1
        longest = max(longest, ticks)
    return longest


def test_steps_of_three_are_counted_exactly():
    longest = _longest_stay()
    assert longest == 33 + 1 + 1  # 100 // 3 uses, one tick more when late, and the tick that leaves
    proof = prove(_stock(longest, longest + 1))
    found = {f.subject: f for f in proof.findings}
    assert found["used_up"].verdict is Verdict.PROVED, found["used_up"].detail
    assert found["used_up"].figures["longest_ticks"] == longest
    assert found["answered"].verdict is Verdict.PROVED
    assert found["answered"].figures["longest_ticks"] == longest + 1
    assert found["trial_comes_to_an_end"].figures["longest_ticks"] == longest
    assert "floor((stock) / 3)" in found["used_up"].detail
    names = {o.name for o in found["used_up"].obligations}
    assert {
        "requirement/used_up/start",
        "requirement/used_up/positive/full",
        "requirement/used_up/falls/use",
        "requirement/used_up/falls/leave",
        "single_hit/full/some_row",
    } <= names


def test_a_last_step_that_may_be_shorter_is_counted_exactly():
    """From 2 on there is another use: 98 is used up in as many ticks as 100."""
    text = STOCK.replace("stock >= 3", "stock >= 2").replace("ANSWERED", "36")
    trial = trial_from_document(tomllib.loads(text.replace("WITHIN", "35")), "stock.toml")
    found = _finding(trial, "used_up")
    assert found.verdict is Verdict.PROVED, found.detail
    assert found.figures["longest_ticks"] == 35
    assert "floor((stock + 1) / 3)" in found.detail


@pytest.mark.parametrize("subject", ["used_up", "answered"])
def test_one_tick_less_is_not_proved(subject):
    longest = _longest_stay()
    found = _finding(_stock(longest - 1, longest), subject)
    assert found.verdict is Verdict.UNFINISHED
    expected = longest + (subject == "answered")
    assert f"the shortest time that ranks show is {expected} ticks" in found.detail


def test_small_search_ends_within_its_patience():
    found = _finding(_small(), "ends")
    assert found.verdict is Verdict.PROVED
    assert found.figures["longest_ticks"] == 11
    assert "11 - time" in found.detail


def test_long_waits_need_no_unrolling():
    trial = _small(
        ('patience = { value = "top + 3"', "patience = { value = 1_000_000"),
        ('actions = { rung = "min(rung + 1, top)", time', "actions = { time"),
    )
    found = _finding(trial, "ends")
    assert found.verdict is Verdict.PROVED, found.detail
    assert found.figures["longest_ticks"] == 1_000_001


def test_time_that_is_too_short_is_refuted_where_a_short_run_does():
    trial = _small(('within_ticks = "patience + 1"', "within_ticks = 10"))
    found = _finding(trial, "ends")
    assert found.verdict is Verdict.REFUTED, found.detail
    # One tick to begin, then ten that do not end it.
    assert len(found.counterexample.ticks) == 11
    assert "ends" in violated_in(trial, found.counterexample)


@pytest.mark.parametrize(
    "effort",
    [
        "SEARCH_EFFORT_S",
        pytest.param("QUESTIONS_EFFORT_S", marks=pytest.mark.slow),
        pytest.param("RANKS_EFFORT_S", marks=pytest.mark.slow),
    ],
)
def test_a_search_that_used_up_its_effort_says_so_and_proves_nothing_by_it(effort, monkeypatch):
    monkeypatch.setattr(search_module, effort, 1e-6)
    found = _finding(_small(), "ends")
    assert found.verdict is Verdict.UNFINISHED
    assert "used up" in found.detail


@pytest.mark.slow
def test_missing_time_limit_is_never_proved():
    trial = _small(
        (
            'when = ["wanted", "late"]\nunless = ["loud"]\nto = "rest"',
            'when = ["wanted", "late"]\nunless = ["loud"]\nto = "search"',
        ),
        ('within_ticks = "patience + 1"', "within_ticks = 500"),
    )
    found = _finding(trial, "ends")
    assert found.verdict is Verdict.UNFINISHED
    assert "no rank" in found.detail
    assert not [f for f in prove(trial).findings if f.subject == "trial_comes_to_an_end"]


BESIDE = 8
TWICE = (
    """\
[trial]
name = "twice"
title = "Two visits, beside much that stays as it is"
tick_us = 1000
initial_state = "out"

[inputs]
go = { kind = "boolean", meaning = "Begin" }
arrived = { kind = "boolean", meaning = "Arrived" }
given = { kind = "integer", range = [0, 100], meaning = "What is kept" }

[variables]
second = { kind = "boolean", initial = false, meaning = "The second visit" }
time = { kind = "integer", range = [0, 1000], initial = 0, meaning = "Ticks in the state" }
"""
    + "".join(
        f'kept_{k} = {{ kind = "integer", range = [0, 100], initial = 0, meaning = "Kept" }}\n'
        for k in range(BESIDE)
    )
    + """
[conditions]
asked = { holds = "go", meaning = "Asked for" }
there = { holds = "arrived or time >= 700", meaning = "There" }
rested = { holds = "time >= 200", meaning = "Stood for long enough" }
done = { holds = "second", meaning = "This is the second visit" }

[states.out]
meaning = "Away"
end = true

[states.way]
meaning = "On the way"

[states.stand]
meaning = "Stands"

[[rows]]
id = "begin"
from = "out"
when = ["asked"]
to = "way"
actions = { second = false, time = 0, """
    + ", ".join(f'kept_{k} = "given"' for k in range(BESIDE))
    + """ }
why = "A start."

[[rows]]
id = "stay_out"
from = "out"
unless = ["asked"]
actions = { """
    + ", ".join(f'kept_{k} = "kept_{(k + 1) % BESIDE}"' for k in range(BESIDE))
    + """ }
why = "None."

[[rows]]
id = "arrive"
from = "way"
when = ["there"]
to = "stand"
actions = { time = 0 }
why = "There."

[[rows]]
id = "go_on"
from = "way"
unless = ["there"]
actions = { time = "time + 1" }
why = "On the way."

[[rows]]
id = "back"
from = "stand"
when = ["rested"]
unless = ["done"]
to = "way"
actions = { second = true, time = 0 }
why = "Once more."

[[rows]]
id = "leave"
from = "stand"
when = ["rested", "done"]
to = "out"
actions = { time = 0 }
why = "Twice is enough."

[[rows]]
id = "rest"
from = "stand"
unless = ["rested"]
actions = { time = "time + 1" }
why = "It stands."

[hazards]
endless = { consequence = "It never ends" }

[requirements.ends]
hazard = "endless"
sentence = "Two visits end."
kind = "bounded"
trigger = "in_state(way, stand)"
formula = "in_state(out)"
within_ticks = WITHIN
proved_by = "ranking argument"
"""
)


@pytest.mark.parametrize(
    ("within", "verdict"), [(1804, Verdict.PROVED), (1803, Verdict.UNFINISHED)]
)
def test_what_stays_as_it_is_does_not_hide_what_falls(within, verdict):
    text = TWICE.replace("WITHIN", str(within))
    found = _finding(trial_from_document(tomllib.loads(text), "twice.toml"), "ends")
    assert found.verdict is verdict
    assert "kept" not in found.detail
