"""What candidate facts are made of: variables are compared where their values meet."""

from __future__ import annotations

import z3

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_proof.induction.effort import Budget
from gainwright_proof.induction.switchboard import Switchboard
from gainwright_proof.induction.vocabulary import count_chains, vocabulary


def test_what_only_decides_about_a_value_is_not_compared_with_it():
    """Stages, repeats and times decide what a gain becomes; a limit is what a gain was."""
    words = vocabulary(load_trial(shipped_trial_path("complete")))
    compared = {first for first, _ in words.pairs}
    assert {("gain_rung", "limit_rung"), ("result_rung", "gain_rung")} <= words.pairs.keys()
    assert not compared & {"stage", "repeats", "wait", "steps_done", "reason", "position_bound"}
    assert ("speed_rung", "position_rung") not in words.pairs


def test_bounds_of_counts_are_the_strongest_first():
    words = vocabulary(load_trial(shipped_trial_path("complete")))
    words.small = {"steps_done": words.small["steps_done"]}
    most, least = count_chains(words)
    assert [bound.right.value for bound in most] == [0, 1, 2]
    assert [bound.right.value for bound in least] == [3, 2, 1]


def test_a_reason_is_asked_again_for_itself():
    first, second = z3.Bools("first second")
    board = Switchboard([z3.Or(first, second)], Budget(1.0))
    formulas = {name: lambda term=term: z3.Not(term) for name, term in
                (("no first", first), ("no second", second))}  # fmt: skip
    assert board.model(formulas.items()) == {"no first", "no second"}
    assert board.excludes(formulas.items())
    assert not board.excludes([("no first", formulas["no first"])])
