"""What a directed search shows has happened; of what it does not see it says nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from gainwright.language.load import load_trial
from gainwright.language.model import RequirementKind
from gainwright.language.parse import parse
from gainwright.language.shipped import shipped_trial_path
from gainwright.semantics.machine import ReferenceMachine
from gainwright_codegen.bundle.stamp import proved_sources
from gainwright_proof.directed.compare import Reference
from gainwright_proof.directed.findings import directed_findings
from gainwright_proof.directed.goals import Goals
from gainwright_proof.directed.search import DirectedSearch
from gainwright_proof.evidence.overview import overview
from gainwright_proof.exploration.judge import unfinished_findings
from gainwright_proof.exploration.replay import confirms, replay_run
from gainwright_proof.exploration.vacuity import premises_unfinished
from gainwright_proof.methods import DIRECTED
from gainwright_proof.verdict import Verdict

from .test_short_waits import trial as waiting_trial

pytestmark = pytest.mark.usefixtures("scratch_cache")


def trial():
    """Two waits, with something that is to be reachable, and something that never is."""
    original = waiting_trial()
    return replace(
        original,
        requirements=(
            *original.requirements,
            required("worked", RequirementKind.REACHABLE, "in_state(work) and time == 299"),
            required("never", RequirementKind.REACHABLE, "rounds == 3 and time == 499"),
            required("vacuous", RequirementKind.STEP, "time > 300 implies next(rounds) == 0"),
            required("spoken_of", RequirementKind.STEP, "time >= 300 implies next(rounds) <= 3"),
        ),
    )


def required(name, kind, formula):
    return replace(
        waiting_trial().requirements[0], id=name, kind=kind, trigger=None, within_ticks=-1,
        formula=parse(formula, requirement=True),
    )  # fmt: skip


def known(search, node):
    """Return state and variables of a moment that the search keeps."""
    any_inputs = np.array(search.vectors[0][:1], dtype=np.int32)
    before = search.tried(node, any_inputs).before
    names = [variable.name for variable in trial().variables]
    values = dict(zip(names, before.variables[0].tolist(), strict=True))
    return trial().states[int(before.states[0])].name, values


def found(changed, exported=None):
    open_subjects = [*unfinished_findings(changed, "x"), *premises_unfinished(changed, "x")]
    findings, runs = directed_findings(changed, open_subjects, exported)
    return {f.subject: f for f in findings}, runs


def test_all_that_can_happen_is_seen_and_nothing_else():
    findings, runs = found(trial())
    rows = {f"row/{row.id}" for row in trial().rows}
    assert rows <= findings.keys()
    proved = {s for s, f in findings.items() if f.verdict is Verdict.PROVED}
    assert {"worked", "premise/spoken_of"} <= proved
    assert not {"never", "premise/vacuous"} & findings.keys()
    assert {f.method for f in findings.values()} == {DIRECTED}
    assert confirms(trial(), runs["worked"], replay_run(trial(), runs["worked"]))
    assert runs["worked"].ticks == findings["worked"].figures["ticks"] >= 300


def test_a_premise_that_one_method_has_seen_is_seen():
    """The table said "not seen" where exploration had ended early, whatever directed runs saw."""
    unseen = premises_unfinished(trial(), "x")
    findings, _ = found(trial())
    lines = {line.requirement: line for line in overview(trial(), [*unseen, *findings.values()])}
    assert lines["spoken_of"].premise == "seen"
    assert lines["spoken_of"].premise_after_ticks >= 300
    assert lines["vacuous"].premise == "not seen"


def test_ways_back_lead_to_the_moments():
    search = DirectedSearch(trial(), [])
    search.run(lambda batch: True, 1000)
    assert search.moments > 5
    for node in range(search.moments):
        machine = ReferenceMachine(trial())
        ticks = 0
        for vector, held in search.path_to(node):
            for _ in range(held):
                machine.tick(dict(zip(machine.trial.index.inputs, vector, strict=True)))
                ticks += 1
        state, variables = known(search, node)
        assert state == machine.state
        assert variables == machine.variables
        assert ticks == search.ticks_to(node)


def test_what_holds_has_nothing_to_look_for():
    assert directed_findings(trial(), []) == ((), {})


def test_code_that_goes_another_way_is_refuted():
    """The second wait ends a tick early: in the C, not in the specification."""
    wrong = {name: text.replace(b"300", b"299") for name, text in proved_sources(trial()).items()}
    assert wrong != proved_sources(trial())
    findings, _ = found(trial(), wrong)
    assert findings["exported_code_as_specified"].verdict is Verdict.REFUTED


def test_row_at_the_end_of_a_wait_is_no_row_of_its_inputs():
    """The last tick of a wait may be by another row: rows are read from single ticks alone."""
    changed = trial()
    goals, reference = Goals(changed), Reference(changed)
    search = DirectedSearch(changed, [])

    def look(batch):
        if batch.single:
            goals.look(batch, reference)
            assert not reference.difference(batch)
        return True

    search.run(look, 1000)
    for number, place in goals.rows.items():
        machine = ReferenceMachine(changed)
        machine.restore(*known(search, place.node))
        inputs = dict(zip(changed.index.inputs, place.inputs, strict=True))
        assert machine.tick(inputs).id == changed.rows[number].id


@pytest.mark.slow
def test_all_rows_and_premises_of_three_gains_are_seen():
    """208 rows and all premises, which no exploration reaches; and the four kinds of result."""
    complete = load_trial(shipped_trial_path("complete"))
    findings, _ = found(complete)
    assert {f"row/{row.id}" for row in complete.rows} <= findings.keys()
    assert {f.subject for f in premises_unfinished(complete, "x")} <= findings.keys()
    asked = {r.id for r in complete.requirements if r.kind is RequirementKind.REACHABLE}
    assert asked <= {s for s, f in findings.items() if f.witness is not None}
