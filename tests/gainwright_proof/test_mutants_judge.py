"""What is called caught is caught, what is called equivalent is equivalent.

Judged a second time by trying everything on the reference machine (:mod:`.mutant_judge`).
"""

from __future__ import annotations

import json
import tomllib
from collections import Counter
from dataclasses import replace
from functools import cache

import pytest

from gainwright.language.load import trial_from_document
from gainwright.language.model import RequirementKind, Trial
from gainwright_proof.exploration import explore
from gainwright_proof.exploration.limits import Limits
from gainwright_proof.exploration.shortened import shortened_trial
from gainwright_proof.exploration.vectors import TooManyVectors
from gainwright_proof.mutants import judge as mutants_judge
from gainwright_proof.mutants.generate import mutants
from gainwright_proof.mutants.judge import judge_mutants
from gainwright_proof.mutants.report import Judged, MutantReport, Outcome, Stage
from gainwright_proof.verdict import Verdict

from ..shared.cut import cut_trial
from ..shared.small_trial import edited
from .mutant_judge import Behaviour, behaviour
from .protocols import alternating_bit, peterson

TRIALS = {
    "small": lambda: small(),
    "peterson": peterson,
    "alternating_bit": alternating_bit,
    "cut": lambda: few(cut_trial()),
}


def small(*edits: tuple[str, str]) -> Trial:
    return trial_from_document(tomllib.loads(edited(*edits)), "small.toml")


def few(trial: Trial) -> Trial:
    """With every fourth requirement, and all that are timed: as many mutants, of which some
    survive, in a fraction of the time."""
    kept = [r for k, r in enumerate(trial.requirements) if r.is_timed or k % 4 == 0]
    return replace(trial, requirements=tuple(kept))


@cache
def report(name: str) -> MutantReport:
    few = 12 if name in ("peterson", "alternating_bit") else 300  # each takes a compiler a second
    return judge_mutants(TRIALS[name](), workers=2, most_explored=few)


@cache
def outcomes(name: str) -> dict[str, Judged]:
    return {judged.id: judged for judged in report(name).judged}


def fails(trial: Trial, does: Behaviour, check: str) -> bool:
    """Return whether a check fails; requirements with a time in them are judged elsewhere."""
    kinds = {requirement.id: requirement.kind for requirement in trial.requirements}
    if check.startswith("row/"):
        return check.removeprefix("row/") not in does.rows
    if check.startswith("single_hit/") or kinds.get(check) in (
        RequirementKind.INVARIANT, RequirementKind.STEP
    ):  # fmt: skip
        return check in does.broken
    return True


@pytest.mark.slow
@pytest.mark.parametrize("name", ["small", "peterson", "alternating_bit"])
def test_every_outcome_stands_when_everything_is_tried(name):
    trial = TRIALS[name]()
    original = behaviour(trial)
    assert original.broken == set()
    tried = Counter()
    for judged in outcomes(name).values():
        if judged.stage is Stage.TABLE or ("literal" in judged.id and tried["literal"] > 300):
            continue
        tried["literal"] += "literal" in judged.id
        changed = judged.mutant.trial(trial)
        does = behaviour(changed)
        tried[judged.outcome] += 1
        if judged.outcome is Outcome.CAUGHT:
            assert all(fails(changed, does, check) for check in judged.caught_by), judged
        elif judged.outcome is Outcome.EQUIVALENT:
            assert does.ticks == original.ticks, judged
        else:
            # Nothing that a single tick can show was overlooked.
            assert judged.outcome is Outcome.SURVIVED or name != "small"
            assert does.broken == set() or judged.outcome is Outcome.UNDECIDED, judged
            assert does.ticks != original.ticks
    assert tried[Outcome.CAUGHT] > 25


@pytest.mark.slow
def test_survivors_are_proved_by_the_explorer():
    for judged in report("small").survivors:
        verdicts = {f.verdict for f in explore(judged.mutant.trial(small())).findings}
        assert verdicts <= {Verdict.PROVED, Verdict.TESTED} and Verdict.PROVED in verdicts


def test_petersons_algorithm_needs_every_assignment_of_its_entry():
    """Without a flag, or without giving way, two processes meet (Peterson 1981, discussion)."""
    found = outcomes("peterson")
    for number in (0, 1):
        for dropped in (f"enter{number}/flag{number}", f"announce{number}/turn"):
            assert "exclusion" in found[f"action_dropped/{dropped}"].caught_by
        step = ("minus_one", "plus_one")[number]
        assert "exclusion" in found[f"action_off/announce{number}/turn/{step}"].caught_by
        # Taking down the flag late harms nobody's safety, and no requirement asks for liveness.
        assert found[f"action_dropped/leave{number}/flag{number}"].outcome is Outcome.SURVIVED


@pytest.mark.slow
def test_short_form_of_the_shipped_trial_agrees_with_exhaustive_exploration():
    """By the explorer itself on each changed trial, not on the patched graph of the original."""
    trial, found = TRIALS["cut"](), outcomes("cut")
    original = explore(trial)
    others = [name for name in found if name.startswith(("action_o", "retargeted", "rows"))]
    dropped = [name for name in found if name.startswith("action_dropped")]
    seen = set()
    for name in (*others[:: len(others) // 8], *dropped[:: len(dropped) // 6]):
        judged = found[name]
        seen.add(judged.outcome)
        did = explore(judged.mutant.trial(trial))
        refuted = {f.subject for f in did.findings if f.verdict is Verdict.REFUTED}
        if judged.outcome is Outcome.EQUIVALENT:
            assert did.nodes_by_state == original.nodes_by_state, name
            assert not refuted, name
        else:
            assert set(judged.caught_by) <= refuted, name
            assert bool(judged.caught_by) is bool(refuted), name
    assert seen == {Outcome.CAUGHT, Outcome.EQUIVALENT, Outcome.SURVIVED}


@pytest.mark.slow
def test_times_over_short_waits_are_those_of_full_ones():
    """The explorer passes every tick of every wait; a mutant passes two for each stretch."""
    trial = shortened_trial(50)
    trial = replace(trial, requirements=tuple(r for r in trial.requirements if r.is_timed))
    judge = mutants_judge._Judge(*mutants_judge._in_short(trial), Limits())
    reached = judge._original.comparison.reached(None, 1_000_000)
    original = explore(trial)
    assert reached.complete and reached.failed == ()
    assert reached.nodes < original.figures.nodes
    figures = {f.subject: f.figures.get("longest_ticks") for f in original.findings}
    assert len(reached.longest_ticks) > 8
    assert dict(reached.longest_ticks) == {name: figures[name] for name in reached.longest_ticks}


def test_an_endless_wait_is_found():
    found = outcomes("small")
    assert "ends" in found["action_dropped/raise/time"].caught_by
    # Without its time-out the row that ends the wait never holds, which the table shows already.
    assert found["timeout_removed/late"].caught_by == ("row/too_late",)


def test_a_slow_answer_is_late_by_a_single_tick():
    """patience + 1 ticks are allowed and needed; a limit one higher never comes."""
    found = outcomes("small")
    assert found["threshold_off/late/patience/plus_one"].caught_by == ("row/too_late",)
    assert found["threshold_off/late/patience/minus_one"].outcome is Outcome.SURVIVED


def test_the_same_bytes_with_one_thread_and_with_two():
    told: list[tuple[int, int]] = []
    one = judge_mutants(small(), workers=1)
    two = judge_mutants(small(), lambda *counts: told.append(counts), workers=2)
    assert json.dumps(one.as_json()) == json.dumps(two.as_json())
    assert told[-1] == (len(one.judged), len(one.judged))


def test_rows_that_a_requirement_constrains():
    rows = report("small").rows_noticed()
    order = [row.id for row in small().rows]
    assert rows["ends"] == tuple(row for row in order if row in rows["ends"])
    assert "raise" in rows["ends"]


# --- What is not known is said --------------------------------------------------------------------


def test_an_original_that_is_not_explored_in_full_proves_nothing_equivalent():
    trial = peterson()
    assert len([m for m in mutants(trial)]) > 50
    found = judge_mutants(trial, workers=1, limits=Limits(nodes=5), most_explored=0)
    assert found.of(Outcome.EQUIVALENT) == ()
    assert {j.detail.split(";")[0] for j in found.undecided} <= {
        "no difference seen, but the original is not explored in full",
        "some reachable tick is another one",
    }
    full = outcomes("peterson")
    for judged in found.of(Outcome.CAUGHT):
        assert full[judged.id].outcome is Outcome.CAUGHT


def test_inputs_that_matter_in_too_many_ways_leave_it_undecided(monkeypatch):
    def refused(*_asked):
        raise TooManyVectors("the inputs can matter in 7 ways")

    monkeypatch.setattr("gainwright_proof.mutants.offers.InputGroups.of", refused)
    found = judge_mutants(small(), workers=1, most_explored=3)
    assert len(found.undecided) > 20
    assert "can matter in" in found.undecided[-1].detail
