"""The explorer on examples with published verdicts: the engine is tested, not only the trial."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from gainwright.language.load import load_trial
from gainwright.language.parse import parse
from gainwright_proof.exploration import confirms, explore, replay_run
from gainwright_proof.exploration.vectors import vectors_by_state
from gainwright_proof.second_checker.promela import Offer, promela_model
from gainwright_proof.second_checker.spin import QUICK_FLAGS, spin_version, verify
from gainwright_proof.verdict import HOLDS, Verdict

FOLDER = Path(__file__).parent / "exploration"


def example(name):
    return load_trial(FOLDER / f"{name}.toml")


def with_rows(trial, **changes):
    """Return a trial with changed rows, by id; None drops a row."""
    rows = []
    for row in trial.rows:
        change = changes.pop(row.id, {})
        if change is not None:
            rows.append(replace(row, **change))
    assert not changes
    return replace(trial, rows=tuple(rows))


def with_condition(trial, name, text):
    """Return a trial in which a condition means something else."""
    assert name in {condition.name for condition in trial.conditions}
    conditions = tuple(
        replace(condition, expression=parse(text)) if condition.name == name else condition
        for condition in trial.conditions
    )
    return replace(trial, conditions=conditions)


def verdicts(trial):
    exploration = explore(trial)
    assert exploration.complete
    for run in exploration.runs.values():
        assert confirms(trial, run, replay_run(trial, run))
    return exploration, {f.subject: f.verdict for f in exploration.findings}


def all_proved(found):
    return set(found.values()) <= HOLDS


def swapped_peterson():
    """The turn is given away before the flag is up, in both processes."""
    trial = example("peterson")
    actions = {row.id: row.actions for row in trial.rows}

    def order(first, second, process):
        place = f"place_{process}"
        return (
            {**actions[second], place: actions[first][place]},
            {**actions[first], place: actions[second][place]},
        )

    changes = {}
    for process in (1, 2):
        flag, turn = f"flag_up_{process}", f"turn_away_{process}"
        new_first, new_second = order(flag, turn, process)
        changes |= {flag: {"actions": new_first}, turn: {"actions": new_second}}
    return with_rows(trial, **changes)


def test_peterson_is_safe():
    """Source: G. L. Peterson, Myths about the mutual exclusion problem, Information Processing
    Letters 12(3), 1981: mutual exclusion holds, and either process can enter."""
    _, found = verdicts(example("peterson"))
    assert all_proved(found)


def test_peterson_with_the_first_two_steps_swapped_is_not():
    """Source: textbook knowledge, from memory: if the turn is given away before the flag is raised,
    both can enter. Shortest: both give the turn away, one raises its flag and enters, the other
    does the same: 6 steps."""
    exploration, found = verdicts(swapped_peterson())
    assert found["mutual_exclusion"] is Verdict.REFUTED
    assert exploration.runs["mutual_exclusion"].ticks == 6


def test_alternating_bit_is_safe_over_lossy_channels():
    """Source: K. A. Bartlett, R. A. Scantlebury, P. T. Wilkinson, A note on reliable full-duplex
    transmission over half-duplex links, Communications of the ACM 12(5), 1969."""
    _, found = verdicts(example("alternating_bit"))
    assert all_proved(found)


def test_alternating_bit_without_looking_at_the_bit_takes_data_twice():
    """The reason for the bit, same source: a lost acknowledgement makes the sender repeat itself.
    Shortest: send, deliver, lose the acknowledgement, send, deliver: 5 events."""
    trial = with_condition(example("alternating_bit"), "is_new", "true")
    exploration, found = verdicts(trial)
    assert found["in_order_and_once"] is Verdict.REFUTED
    assert exploration.runs["in_order_and_once"].ticks == 5


def test_two_phase_commit_has_288_states():
    """Source: the specification TwoPhase of J. Gray and L. Lamport, Consensus on Transaction
    Commit, ACM TODS 31(1), 2006, with three resource managers; the model checker of that language
    reports 288 distinct states (lecture on two-phase commit; from memory)."""
    exploration, found = verdicts(example("two_phase_commit"))
    assert exploration.figures.nodes == 288
    assert found["consistent"] is Verdict.PROVED
    assert found["commit_possible"] is Verdict.PROVED


def test_two_phase_commit_that_does_not_wait_for_all_is_inconsistent():
    """The reason for the first phase, same source: a manager that commits without knowing that all
    are prepared divides them."""
    trial = example("two_phase_commit")
    trial = with_condition(trial, "commits", "action == 1 and known_1 and known_2")
    _, found = verdicts(trial)
    assert found["consistent"] is Verdict.REFUTED


def test_single_hit_table():
    """Source: ISO 5806:1984, single-hit decision tables: every set of conditions satisfies one and
    only one rule (definition, from memory)."""
    exploration, found = verdicts(example("decision_table"))
    assert all_proved(found)
    assert all(all(seen.values()) for seen in exploration.single_misses.values())


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        ({"short": None}, "no row holds"),
        ({"broken": {"when": ("is_damaged",)}}, "several rows hold"),
        ({"good": {"unless": ()}}, "several rows hold"),
    ],
)
def test_tables_that_are_not_single_hit(changes, what):
    """Same source: a gap, and two overlaps."""
    trial = with_rows(example("decision_table"), **changes)
    exploration, found = verdicts(trial)
    assert found["single_hit/gate"] is Verdict.REFUTED
    assert found["single_hit/store"] is Verdict.PROVED
    detail = next(f.detail for f in exploration.findings if f.subject == "single_hit/gate")
    assert detail == f"In tick 1 {what}."


@pytest.mark.skipif(spin_version() is None, reason="spin is not installed")
@pytest.mark.parametrize("name", ["peterson", "alternating_bit", "two_phase_commit"])
def test_spin_counts_the_same_states(name):
    """With all inputs free, so that nothing of our own choice of inputs enters."""
    trial = example(name)
    model = promela_model(trial, vectors_by_state(trial, 1 << 14), offer=Offer.FREE)
    result = verify(model, depth=100_000, flags=QUICK_FLAGS)
    assert result.stored_states == explore(trial).figures.nodes
    assert not any(name.startswith(("broken", "table")) for name in result.reported)
