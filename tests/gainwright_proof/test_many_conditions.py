"""More conditions than an integer has bits are explored, proved and mutated as others are."""

from __future__ import annotations

import pytest

from gainwright_proof.exploration import explore
from gainwright_proof.mutants.judge import judge_mutants
from gainwright_proof.mutants.literals import literal_mutants
from gainwright_proof.mutants.mutant import MutationKind
from gainwright_proof.mutants.report import Outcome
from gainwright_proof.verdict import HOLDS

from ..shared.cases import cases
from ..shared.many_conditions import many_conditions


@pytest.mark.parametrize("count", cases([130], slow=[20, 71]))
def test_everything_is_explored_and_every_condition_decides_alone(tmp_path, count):
    trial = many_conditions(tmp_path, count)
    exploration = explore(trial, premises=True)
    assert exploration.complete
    left = {f.subject for f in exploration.findings if f.verdict not in HOLDS}
    # It may be watched for ever.
    assert left == {"trial_comes_to_an_end"}
    assert exploration.nodes_by_state["watch"] == count + 1
    for row in trial.rows:
        assert exploration.single_misses[row.id] == dict.fromkeys((*row.when, *row.unless), True)


def test_mutants_beyond_the_first_word_are_judged(tmp_path, monkeypatch):
    """The last rows look at conditions 64 to 71 only."""
    trial = many_conditions(tmp_path, 71)
    chosen = [*literal_mutants(trial)]
    chosen = [m for m in chosen if m.kind is MutationKind.LITERAL_DROPPED]
    monkeypatch.setattr("gainwright_proof.mutants.judge.mutants", lambda _: tuple(chosen[-40:]))
    report = judge_mutants(trial, workers=1, most_explored=0)
    assert {judged.outcome for judged in report.judged} == {Outcome.CAUGHT}
    assert len(report.judged) == 40
