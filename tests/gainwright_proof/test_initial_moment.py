"""What is required of the first moment: defects of the reset are refuted by every method."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest

from gainwright.errors import InputError
from gainwright.language.load import trial_from_document
from gainwright.language.model import RequirementKind, Trial
from gainwright.semantics.machine import ReferenceMachine
from gainwright.semantics.monitor import Monitor, Snapshot
from gainwright_proof.exploration import confirms, engine, explore, replay_run
from gainwright_proof.exploration.vectors import vectors_by_state
from gainwright_proof.induction.prove import prove
from gainwright_proof.inserted_defects.small import small_document
from gainwright_proof.second_checker.check import MOST_VECTORS
from gainwright_proof.second_checker.promela import Offer, promela_model
from gainwright_proof.second_checker.spin import QUICK_FLAGS, spin_version, verify
from gainwright_proof.verdict import Verdict

from ..shared.small_trial import edited

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("scratch_cache")]

ASKED = ("idle_after_reset", "no_request_counts_after_reset", "no_end_after_reset")
TRIAL = trial_from_document(small_document(requirements=ASKED), "small")


def with_initial(name: str, value: int) -> Trial:
    variables = tuple(replace(v, initial=value) if v.name == name else v for v in TRIAL.variables)
    assert variables != TRIAL.variables
    return replace(TRIAL, variables=variables)


DEFECTS = {
    "motion at power-on": (replace(TRIAL, initial_state="approach"), "idle_after_reset"),
    "torque at power-on": (replace(TRIAL, initial_state="energise"), "idle_after_reset"),
    "a raised gain at power-on": (with_initial("gain_rung", 1), "idle_after_reset"),
    "finished at power-on": (replace(TRIAL, initial_state="finished"), "no_end_after_reset"),
    "a result at power-on": (with_initial("result_rung", 1), "no_end_after_reset"),
    "a held button counts": (with_initial("request_released", 1), "no_request_counts_after_reset"),
}


def only_initial(trial: Trial) -> Trial:
    """The other requirements would take the prover long on a trial that breaks them."""
    kept = tuple(r for r in trial.requirements if r.kind is RequirementKind.INITIAL)
    assert len(kept) >= 3
    return replace(trial, requirements=kept)


@pytest.mark.parametrize("name", DEFECTS)
def test_inserted_defects_are_refuted(name):
    trial, subject = DEFECTS[name]
    trial = only_initial(trial)
    reference = ReferenceMachine(trial)
    first = Snapshot(reference.state, dict(reference.variables), reference.outputs())
    (at_once,) = (v for v in Monitor(trial, first).first_violations if v.requirement_id == subject)
    assert at_once.tick == 0
    proved = {f.subject: f for f in prove(trial).findings}
    assert proved[subject].verdict is Verdict.REFUTED
    assert proved[subject].counterexample.ticks == ()
    exploration = explore(trial)
    explored = {f.subject: f for f in exploration.findings}
    assert explored[subject].verdict is Verdict.REFUTED
    run = exploration.runs[subject]
    assert run.ticks == 0 and confirms(trial, run, replay_run(trial, run))


@pytest.mark.skipif(spin_version() is None, reason="spin is not installed")
def test_the_second_checker_refutes_them_too():
    trial, subject = DEFECTS["a held button counts"]
    vectors = vectors_by_state(trial, MOST_VECTORS)
    model = promela_model(trial, vectors, offer=Offer.DISTINCT)
    reported = verify(model, depth=1_000_000, flags=QUICK_FLAGS).reported
    assert f"broken_{subject}" in reported and "broken_idle_after_reset" not in reported


def test_the_shipped_trial_starts_as_required():
    trial = only_initial(TRIAL)
    for findings in (prove(trial).findings, explore(trial).findings):
        verdicts = {f.subject: f.verdict for f in findings}
        assert {verdicts[r.id] for r in trial.requirements} == {Verdict.PROVED}


def test_a_wrong_reset_of_the_compiled_c_is_refuted(monkeypatch):
    """The specification is sound, the exported reset is not: only looking at the C shows it."""
    sources = engine.sequencer_sources

    def broken(trial):
        made = dict(sources(trial))
        header = made["gw_trial.h"].decode("ascii")
        assert "(int32_t)GW_STATE_IDLE" in header
        wrong = header.replace("(int32_t)GW_STATE_IDLE", "(int32_t)GW_STATE_APPROACH")
        return {**made, "gw_trial.h": wrong}

    monkeypatch.setattr(engine, "sequencer_sources", broken)
    verdicts = {f.subject: f.verdict for f in explore(only_initial(TRIAL)).findings}
    assert verdicts["idle_after_reset"] is Verdict.REFUTED
    assert verdicts["no_request_counts_after_reset"] is Verdict.PROVED


def test_a_run_that_begins_elsewhere_is_not_judged_by_them():
    machine = ReferenceMachine(TRIAL)
    machine.restore("move", machine.variables)
    here = Snapshot(machine.state, dict(machine.variables), machine.outputs())
    trial = only_initial(TRIAL)
    assert Monitor(trial, here).first_violations
    assert not Monitor(trial, here, after_reset=False).first_violations


@pytest.mark.parametrize(
    ("formula", "found"),
    [("next(found)", "next(found)"), ("go", "'go', which is an input"), ("wanted", "a condition")],
)
def test_an_initial_formula_has_no_tick(formula, found):
    old = 'kind = "invariant"\nformula = "found implies result + 2 <= limit or result == 0"'
    text = edited((old, f'kind = "initial"\nformula = "{formula}"'))
    with pytest.raises(InputError) as caught:
        trial_from_document(tomllib.loads(text), "x.toml")
    assert any(found in p.found for p in caught.value.problems), str(caught.value)
