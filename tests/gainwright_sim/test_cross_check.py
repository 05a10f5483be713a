"""A predicted limit that is crossed all the same: each must find the other where it said."""

from __future__ import annotations

import math
from collections.abc import Iterable

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_cli.main import main
from gainwright_sim.machine.load import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import Rehearsal, rehearse
from gainwright_sim.rehearsal.summary import Summary, summarise
from gainwright_sim.rig.run import FOR_EVER, Override

TRIAL = load_trial(shipped_trial_path("gentle"))


def crossed(name: str, overrides: Iterable[Override] = ()) -> tuple[Rehearsal, Summary]:
    bench = Bench(TRIAL, load_machine(name), asked=("crossing_wanted",), changeable=True)
    rehearsal = rehearse(bench, 3, overrides=overrides)
    return rehearsal, summarise(rehearsal)


def tick_of(rehearsal: Rehearsal, state: str) -> int:
    """Return the first tick that ends in a state."""
    return int((rehearsal.log.state == TRIAL.index.states[state]).argmax())


@pytest.mark.parametrize("name", ["grinder-slide", "glaze-gantry"])
def test_crossing_and_prediction_are_two_rungs_apart_at_most(name: str) -> None:
    rehearsal, summary = crossed(name)
    stage = summary.stages[0]
    assert summary.ending is not None
    assert summary.ending.reason == "below_onset"
    assert stage.prediction is not None
    assert not stage.prediction.agreed
    assert stage.prediction.predictions >= 2
    assert stage.limit is not None
    apart = math.log(stage.limit / stage.prediction.predicted_limit) / math.log(1.045)
    assert abs(apart) < 2.0
    assert not rehearsal.violations


def test_without_being_asked_nothing_is_crossed() -> None:
    rehearsal = rehearse(Bench(TRIAL, load_machine("grinder-slide"), changeable=True), 3)
    assert not (rehearsal.log.state == TRIAL.index.states["detect"]).any()


@pytest.mark.parametrize(("rungs", "ends"), [(-3, True), (-2, False), (0, False)])
def test_a_quiet_gain_well_above_the_prediction_ends_without_a_result(
    rungs: int, ends: bool
) -> None:
    """Planted: from the search on predictions say that the gain is so far above the limit."""
    rehearsal, _ = crossed("grinder-slide")
    begin = tick_of(rehearsal, "move")
    told = Override(begin, FOR_EVER, "rungs_to_limit", rungs)
    rehearsal, summary = crossed("grinder-slide", [told])
    assert summary.ending is not None
    assert (summary.ending.reason == "prediction_contradicted") == ends
    assert (summary.stages[0].result is None) == ends
    if ends:
        assert summary.outcome == "aborted"
        assert not (rehearsal.log.state == TRIAL.index.states["detect"]).any()


@pytest.mark.parametrize(("rungs", "early"), [(18, True), (17, False), (0, False)])
def test_onset_far_below_the_prediction_is_said(rungs: int, early: bool) -> None:
    """Planted: the result, 16 rungs below onset, is told how far the predicted limit lies above."""
    rehearsal, _ = crossed("grinder-slide")
    told = Override(tick_of(rehearsal, "verify_move"), FOR_EVER, "rungs_to_limit", rungs)
    _, summary = crossed("grinder-slide", [told])
    assert summary.outcome == "finished"
    assert summary.ending is not None
    assert summary.ending.reason == ("below_early_onset" if early else "below_onset")


def test_predictions_that_do_not_agree_contradict_nothing() -> None:
    rehearsal, _ = crossed("grinder-slide")
    begin = tick_of(rehearsal, "move")
    told = [
        Override(begin, FOR_EVER, "rungs_to_limit", -4),
        Override(begin, FOR_EVER, "predictions", 1),
    ]
    _, summary = crossed("grinder-slide", told)
    assert summary.ending is not None
    assert summary.ending.reason == "below_onset"


def test_a_trial_that_predicts_nothing_is_refused(capsys) -> None:
    assert main(["rehearse", "grinder-slide", "--trial", "standard", "--cross-check"]) == 2
    said = capsys.readouterr().err
    assert "crossing_wanted" in said
    assert "--trial gentle" in said
