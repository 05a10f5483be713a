"""What is called caught is caught, what is called equivalent is equivalent.

Judged a second time by trying everything on the reference machine (:mod:`.mutant_judge`).
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from functools import cache

import pytest

from gainwright.language.load import trial_from_document
from gainwright.language.model import RequirementKind, Trial
from gainwright_proof.mutants.cascade import Cascade, evidence
from gainwright_proof.mutants.generate import mutants
from gainwright_proof.mutants.graph import cut_off
from gainwright_proof.mutants.outcome import Fate, Outcome, Stage
from gainwright_proof.mutants.run import run_mutants
from gainwright_proof.mutants.solver import Likeness, SolverCheck

from ..shared.explorer import Explorer, cut_trial
from ..shared.small_trial import edited
from .mutant_judge import Behaviour, behaviour
from .protocols import alternating_bit, peterson


def small(*edits: tuple[str, str]) -> Trial:
    return trial_from_document(tomllib.loads(edited(*edits)), "small.toml")


@cache
def outcomes(name: str) -> tuple[Trial, dict[str, Outcome]]:
    trial = {"small": small, "peterson": peterson, "alternating_bit": alternating_bit}[name]()
    report = run_mutants(trial, workers=1)
    return trial, {judged.id: judged.outcome for judged in report.judged}


class Cut:
    """The shipped trial with times of a few ticks; mutants are decided when asked for."""

    def __init__(self) -> None:
        self.trial = cut_trial()
        self.mutants = {mutant.id: mutant for mutant in mutants(self.trial)}
        self._cascade = Cascade(self.trial, evidence(self.trial, seed=1), seed=1)

    def outcome(self, mutant_id: str) -> Outcome:
        return self._cascade.decide(self.mutants[mutant_id])


@pytest.fixture(scope="module")
def cut() -> Cut:
    return Cut()


def fails(trial: Trial, does: Behaviour, check: str) -> bool:
    """Return whether a check fails; requirements with a time in them are judged elsewhere."""
    kinds = {requirement.id: requirement.kind for requirement in trial.requirements}
    if check.startswith("row/"):
        return check.removeprefix("row/") not in does.rows
    if check.startswith("single_hit/") or kinds.get(check) in (
        RequirementKind.INVARIANT, RequirementKind.STEP, RequirementKind.RESPONSE
    ):  # fmt: skip
        return check in does.broken
    return True


@pytest.mark.parametrize("name", ["small", "peterson", "alternating_bit"])
def test_every_outcome_stands_when_everything_is_tried(name):
    trial, found = outcomes(name)
    original = behaviour(trial)
    assert original.broken == set()
    tried = 0
    for outcome in found.values():
        if outcome.stage is Stage.TABLE and "literal" in outcome.mutant.id:
            continue  # thousands of them; their tables are judged below
        tried += 1
        changed = outcome.mutant.trial(trial)
        does = behaviour(changed)
        if outcome.fate is Fate.CAUGHT and outcome.stage is not Stage.TABLE:
            assert all(fails(changed, does, check) for check in outcome.caught_by), outcome
        elif outcome.fate is Fate.EQUIVALENT:
            assert does.ticks == original.ticks, outcome
        elif outcome.fate is Fate.UNDECIDED:
            # Nothing that a single tick can show was overlooked.
            assert does.broken == set(), outcome
            assert not outcome.differs or does.ticks != original.ticks
    assert tried > 40


@pytest.mark.parametrize("name", ["small", "peterson"])
def test_tables_called_broken_have_a_gap_or_overlap(name):
    """Over all critical values of the declared ranges, reachable or not."""
    trial, found = outcomes(name)
    check = SolverCheck(trial, limit_s=20)
    broken = [o for o in found.values() if o.stage is Stage.TABLE]
    for outcome in broken[:: max(1, len(broken) // 60)]:
        compared = check.compare(outcome.mutant)
        assert compared.likeness is Likeness.NOT_SINGLE_HIT
        assert f"single_hit/{compared.states[0]}" in outcome.caught_by


def test_petersons_algorithm_needs_every_assignment_of_its_entry():
    """Without a flag, or without giving way, two processes meet (Peterson 1981, discussion)."""
    _, found = outcomes("peterson")
    for number in (0, 1):
        for dropped in (f"enter{number}/flag{number}", f"announce{number}/turn"):
            outcome = found[f"action_dropped/{dropped}"]
            assert outcome.fate is Fate.CAUGHT
            assert "exclusion" in outcome.caught_by
        step = ("minus_one", "plus_one")[number]
        keeps_the_turn = found[f"action_off/announce{number}/turn/{step}"]
        assert "exclusion" in keeps_the_turn.caught_by
        # Taking down the flag late harms nobody's safety, and no requirement asks for liveness.
        assert found[f"action_dropped/leave{number}/flag{number}"].fate is Fate.UNDECIDED


def test_short_form_of_the_shipped_trial_agrees_with_exhaustive_exploration(cut):
    """By the explorer of the shipped trial's own tests, which knows requirements of every kind."""
    original = Explorer(cut.trial).explore()
    others = [name for name in cut.mutants if name.startswith(("action_o", "retargeted", "rows"))]
    dropped = [name for name in cut.mutants if name.startswith("action_dropped")]
    fates = set()
    for name in (*others[:: len(others) // 8], *dropped[:: len(dropped) // 6]):
        outcome = cut.outcome(name)
        fates.add(outcome.fate)
        did = Explorer(outcome.mutant.trial(cut.trial)).explore()
        if outcome.fate is Fate.EQUIVALENT:
            assert did.successors == original.successors, name
            assert not did.broken, name
        else:
            checks = set(outcome.caught_by) - {f"row/{row.id}" for row in cut.trial.rows}
            assert checks <= did.broken.keys(), name
    assert fates == {Fate.CAUGHT, Fate.EQUIVALENT}


def test_an_endless_wait_is_found_where_time_stands_still_and_where_it_goes_round(cut):
    _, found = outcomes("small")
    assert found["action_dropped/raise/time"].caught_by == ("ends",)
    assert found["timeout_removed/late"].caught_by == ("ends",)
    for mutant in (
        "retargeted/oscillating_without_margin@move/open_brake",  # approach, move, ... again
        "action_dropped/first_direction_quiet/first_check_passed",  # verifies for ever
    ):
        outcome = cut.outcome(mutant)
        assert (outcome.caught_by, outcome.stage) == (("trial_ends",), Stage.EXPLORED)


def test_a_slow_answer_is_late_by_a_single_tick():
    """patience + 1 ticks are allowed and needed; a limit one higher is too long."""
    _, found = outcomes("small")
    assert found["threshold_off/late/patience/plus_one"].caught_by == ("ends",)
    assert found["threshold_off/late/patience/minus_one"].fate is Fate.UNDECIDED


def test_states_cut_off_are_told_from_the_arrows():
    (mutant,) = [m for m in mutants(cut_trial()) if m.id == "retargeted/finish/aborted"]
    trial = mutant.trial(cut_trial())
    found = cut_off(trial, (row.id for row in cut_trial().rows))
    assert "row/reset@finished" in found
    rows = tuple(replace(r, target="search") for r in small().rows)
    assert "end_stays_reachable" in cut_off(replace(small(), rows=rows), ())


def test_invariants_that_exclude_a_difference_are_named(cut):
    outcome = cut.outcome("action_dropped/reset@fault/gain_rung")
    assert outcome.rests_on == ("start_gain_on_every_way_out",)
    others = tuple(r for r in cut.trial.requirements if r.id not in outcome.rests_on)
    without = replace(cut.trial, requirements=others)
    compared = SolverCheck(without, limit_s=20).compare(outcome.mutant)
    assert compared.likeness is Likeness.DIFFERENT
