"""How a rehearsal ended: each outcome can occur, and says why and what to do."""

from __future__ import annotations

import dataclasses
import json

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_cli.main import main
from gainwright_sim.benchmark.quiet_machines import short_ladder_trial
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal import rehearse as rehearsing
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.ending import REASON_OUTPUT
from gainwright_sim.rehearsal.outcome import OUTCOMES, judged
from gainwright_sim.rehearsal.rehearse import Rehearsal, rehearse
from gainwright_sim.rehearsal.start import refused_start
from gainwright_sim.rehearsal.summary import summarise
from gainwright_sim.rehearsal.words import headline, summary_lines
from gainwright_sim.rig.run import Override

TRIAL = load_trial(shipped_trial_path("standard"))
GRINDER = load_machine("grinder-slide")
FOR_EVER = 10**6


@pytest.fixture(scope="module")
def finished() -> Rehearsal:
    return rehearse(Bench(TRIAL, GRINDER, changeable=True), 1)


def words(summary) -> str:
    return " ".join("\n".join(summary_lines(summary)).split())


def on_heavier_theory(rehearsal: Rehearsal, factor: float) -> Rehearsal:
    """The same run, held against the theory of a motor whose limit is ``factor`` times as high."""
    inertias = GRINDER.chain.inertias_kgm2
    chain = dataclasses.replace(
        GRINDER.chain,
        inertias_kgm2=tuple(factor * value for value in inertias),
        stiffnesses_nm_per_rad=tuple(
            factor * value for value in GRINDER.chain.stiffnesses_nm_per_rad
        ),
        dampings_nms_per_rad=tuple(factor * value for value in GRINDER.chain.dampings_nms_per_rad),
    )
    return dataclasses.replace(rehearsal, machine=dataclasses.replace(GRINDER, chain=chain))


def test_verified_result_is_held_against_exact_theory(finished):
    summary = summarise(finished)
    theory = summary.stages[0].theory
    assert summary.outcome == "finished"
    assert theory.limit_share == pytest.approx(1.0, abs=0.06)
    assert theory.result_share <= 0.53
    assert theory.result_is_stable is True


@pytest.mark.parametrize(
    ("factor", "outcome"), [(0.65, "wrong_too_high"), (0.45, "wrong_not_stable")]
)
def test_result_that_theory_knows_to_be_wrong_is_an_outcome_of_its_own(finished, factor, outcome):
    summary = summarise(on_heavier_theory(finished, factor))
    assert summary.outcome == outcome
    assert OUTCOMES[outcome].exit_code == 1
    assert "wrong: verified" in words(summary)
    assert summary.stages[0].theory.result_is_stable is (outcome == "wrong_too_high")


def test_only_what_says_verified_can_be_wrong():
    assert judged("aborted", 0.9, False) == "aborted"
    assert judged("finished", None, None) == "finished"
    assert judged("finished", 0.70, True) == "finished"
    assert judged("no_onset", 0.71, True) == "wrong_too_high"
    assert judged("limited_by_noise", 1.1, False) == "wrong_not_stable"


def test_end_of_the_ladder_without_onset_is_no_limit_found():
    # 40 rungs of 4.5 % reach 5.6 times the start gain; the exact limit is 12 times as high.
    summary = summarise(rehearse(Bench(short_ladder_trial(40), GRINDER), 1))
    assert summary.outcome == "no_onset"
    assert summary.stages[0].limit is None
    assert summary.stages[0].result is not None
    text = words(summary)
    assert "no onset up to the highest gain" in text
    assert "Raise the start gain" in text
    assert OUTCOMES["no_onset"].exit_code == 1


def test_permit_released_is_the_reason():
    override = Override(start=3000, stop=FOR_EVER, input="run_permit", value=0)
    summary = summarise(rehearse(Bench(TRIAL, GRINDER, changeable=True), 1, overrides=[override]))
    assert summary.outcome == "aborted"
    assert summary.ending.row.startswith("stop@")
    assert summary.ending.tick == 3000
    assert summary.ending.time_s == pytest.approx(3.001)
    text = words(summary)
    assert summary.ending.state in text and summary.ending.why in text
    assert json.loads(json.dumps(summary.as_json()))["ending"]["row"] == summary.ending.row


def test_fault_while_coming_to_rest_is_what_decides(finished):
    closing = [state.name for state in TRIAL.states].index("close_brake")
    tick = int((finished.log.state == closing).nonzero()[0][0]) + 3
    override = Override(start=tick, stop=FOR_EVER, input="drive_ready", value=0)
    summary = summarise(rehearse(Bench(TRIAL, GRINDER, changeable=True), 1, overrides=[override]))
    assert (summary.outcome, summary.ending.state) == ("fault_latched", "close_brake")
    assert summary.ending.tick == tick


def test_finished_is_decided_by_the_verification_not_by_the_brake(finished):
    assert summarise(finished).ending.state == "verify_detect"


def test_unfinished_is_3(monkeypatch, capsys):
    monkeypatch.setattr(rehearsing, "LONGEST_S", 2.5)
    assert main(["rehearse", "grinder-slide", "--json"]) == 3
    summary = json.loads(capsys.readouterr().out)
    assert (summary["outcome"], summary["ending"]) == ("unfinished", None)


def test_every_outcome_has_words_and_what_has_no_result_a_remedy():
    for key, outcome in OUTCOMES.items():
        assert headline(key)
        assert outcome.remedy or key == "finished"
        assert (outcome.exit_code == 0) == (key in ("finished", "limited_by_noise"))


def test_watched_or_not_is_the_same():
    seen = []
    watched = rehearse(
        Bench(TRIAL, GRINDER, changeable=True), 1, progress=lambda log: seen.append(len(log))
    )
    alone = rehearse(Bench(TRIAL, GRINDER, changeable=True), 1)
    assert sum(seen) == len(watched.log)
    assert (watched.log.signals == alone.log.signals).all()
    assert watched.violations == alone.violations == ()


@pytest.mark.skipif(
    REASON_OUTPUT not in {signal.name for signal in TRIAL.outputs},
    reason="the shipped trial gives no reason of its own",
)
@pytest.mark.parametrize(("forced", "said"), [("run_permit", "permit"), ("drive_ready", "drive")])
def test_reason_and_remedy_are_those_of_the_trial(forced, said):
    override = Override(start=3000, stop=FOR_EVER, input=forced, value=0)
    summary = summarise(rehearse(Bench(TRIAL, GRINDER, changeable=True), 1, overrides=[override]))
    (output,) = (signal for signal in TRIAL.outputs if signal.name == REASON_OUTPUT)
    values = {value.name: value for value in TRIAL.enumeration(output.enumeration).values}
    value = values[summary.ending.reason]
    assert said in value.words
    assert summary.ending.tick == 3000
    text = words(summary)
    assert value.words in text
    assert value.remedy.rstrip(".") in text


@pytest.mark.parametrize("missing", ["standstill", "feedback_valid", "run_permit"])
def test_start_that_is_refused_says_what_was_missing(missing):
    override = Override(start=0, stop=200, input=missing, value=0)
    rehearsal = rehearse(Bench(TRIAL, GRINDER, changeable=True), 1, overrides=[override])
    summary = summarise(rehearsal)
    assert rehearsal.machine_time_s < 5.0
    assert (summary.outcome, summary.ending.row) == ("not_started", "start_refused")
    assert f"the start was refused: {missing} was false" in words(summary)


def test_trial_that_began_was_not_refused(finished):
    assert refused_start(TRIAL, finished.log) is None
    assert refused_start(TRIAL, finished.log.until(3)) is None
