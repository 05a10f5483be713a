"""The shipped trials repeat each other's rows on purpose; where they differ there is a reason."""

from __future__ import annotations

from fnmatch import fnmatch

import pytest

from gainwright.language.load import load_trial
from gainwright.language.model import Row, Trial
from gainwright.language.shipped import shipped_trial_path
from gainwright.language.write import write

REASONS = {
    "gentle": {
        "approach_is_done": "measures the loop response before the search",
        "axis_is_quiet": "after a prediction the move the other way has begun already",
        "both_directions_quiet": "a result may rest on a prediction too, or contradict one",
        "give_pulse": "not far above a predicted limit",
    },
    "complete": {
        "burst_onset@*": "margins are those of the stage",
        "noise_*": "margins are those of the stage, and 8 rungs or more: no reserve beyond them",
        "oscillation_*": "margins are those of the stage; heard once is enough",
        "verify_oscillation_*": "as in its search, one row for both",
        "*top_rung*": "margins are those of the stage",
        "ringing_onset@*": "margins are those of the stage",
        "raise_gain": "several rungs at once where onset leaves no result or is not to be expected",
        "nothing_seen": "its margin is 20 rungs already: noise keeps no reserve beyond it",
        "cruise": "the position gain is judged by steps",
        "axis_is_quiet": "margins are measured before the second direction",
        "both_directions_quiet": "the next stage follows",
        "verify_again": "its results lie at a third of the limit, where ringing may be tried again",
    },
}
OTHER_CONDITIONS = {
    "gentle": set(),
    "complete": {
        "first_hearing": "no row asks for it",
        "noise_oscillates": "whether answers are hidden is no input of it",
        "noise_fills_torque": "integral action near its limit rings after turning round",
        "lasting": "torque that is strained for long without a burst is onset too",
        "shaking_on": "part of lasting, which asks for strain instead",
        "at_top_rung": "of the stage",
        "margin_available": "of the stage",
        "noise_margin_available": "its margin is 20 rungs already",
        "noise_limits": "of any stage",
    },
}
OTHER_REQUIREMENTS = {
    "gentle": set(),
    "complete": {  # its margin is 20 rungs already
        "late_onset_keeps_its_reserve",
        "noise_above_the_start_gain_gives_a_limit",
        "noise_limit_keeps_its_reserve",
    },
}


def differences(trial: Trial, other: Trial) -> dict[str, list[str]]:
    """Return what rows of the same name do differently, as far as both know the variables."""
    shared = {v.name for v in trial.variables} & {v.name for v in other.variables}
    rows = {row.id: row for row in other.rows}
    found = {}
    for row in trial.rows:
        if row.id not in rows:
            found[row.id] = ["missing"]
        elif parts := [*_parts(row, rows[row.id], shared)]:
            found[row.id] = parts
    return found


def _parts(row: Row, other: Row, shared: set[str]):
    for part in ("source", "when", "unless", "target"):
        if getattr(row, part) != getattr(other, part):
            yield part
    for name in sorted(shared):
        texts = [write(r.actions[name]) if name in r.actions else "" for r in (row, other)]
        if texts[0] != texts[1]:
            yield f"{name}: {texts[0]} / {texts[1]}"


@pytest.mark.parametrize("name", REASONS)
def test_rows_of_the_same_name_do_the_same(name):
    standard, other = (load_trial(shipped_trial_path(trial)) for trial in ("standard", name))
    found = differences(standard, other)
    unexplained = {
        row: parts
        for row, parts in found.items()
        if not any(fnmatch(row, pattern) for pattern in REASONS[name])
    }
    assert not unexplained
    idle = [p for p in REASONS[name] if not any(fnmatch(row, p) for row in found)]
    assert not idle, "a reason that explains nothing"


@pytest.mark.parametrize("name", REASONS)
def test_conditions_of_the_same_name_mean_the_same(name):
    standard, other = (load_trial(shipped_trial_path(trial)) for trial in ("standard", name))
    known = {condition.name: write(condition.expression) for condition in other.conditions}
    different = {c.name for c in standard.conditions if known.get(c.name) != write(c.expression)}
    assert different == set(OTHER_CONDITIONS[name])


@pytest.mark.parametrize("name", REASONS)
def test_every_requirement_of_the_standard_trial_is_asked(name):
    standard, other = (load_trial(shipped_trial_path(trial)) for trial in ("standard", name))
    asked = {requirement.id for requirement in other.requirements}
    missing = {requirement.id for requirement in standard.requirements} - asked
    assert missing == set(OTHER_REQUIREMENTS[name])
