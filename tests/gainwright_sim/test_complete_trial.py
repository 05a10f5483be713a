"""The complete trial on shipped machines: three gains, each held against exact theory."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.campaign.families import MOTION, OWN
from gainwright_sim.campaign.sampling import sample
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.summary import summarise
from gainwright_sim.rehearsal.words import summary_lines
from gainwright_sim.theory.closed_loop import machine_loop
from gainwright_sim.theory.margins import margins
from gainwright_sim.theory.stages import STAGE_THEORY

TRIAL = load_trial(shipped_trial_path("complete"))


@pytest.fixture(
    scope="module", params=[pytest.param("grinder-slide", marks=pytest.mark.slow), "glaze-gantry"]
)
def rehearsal(request):
    return rehearse(Bench(TRIAL, load_machine(request.param), changeable=True), seed=1)


@pytest.fixture(scope="module")
def summary(rehearsal):
    return summarise(rehearsal)


def test_it_finds_three_gains_and_says_what_limits_each(summary):
    assert summary.outcome == "finished"
    assert [stage.ended_by for stage in summary.stages[:2]] == ["onset", "onset"]
    assert summary.stages[2].ended_by in ("overshoot", "residual_vibration", "top_rung")
    words = "\n".join(summary_lines(summary))
    assert "exact margins" in words and "none" in words


def test_limits_that_end_by_onset_are_the_exact_ones(summary):
    for stage in summary.stages[:2]:
        assert 0.94 <= stage.theory.limit_share <= 1.06


def test_margins_of_all_three_gains_together(summary):
    """At least 6 dB, 35 degrees, Ms at most 2.1: less than what the trial asks for (8, 40, 2.0)."""
    assert summary.margins.gain_db >= 6.0
    assert summary.margins.phase_deg >= 35.0
    assert summary.margins.peak_sensitivity <= 2.12


def test_results_are_shares_of_the_limits_as_stated(summary):
    speed, integral, position = summary.stages
    assert speed.result / speed.limit == pytest.approx(1.045**-25, rel=1e-3)
    assert integral.result / integral.limit == pytest.approx(1.045**-53, rel=1e-3)
    # A margin that lacks, or a load that answers, costs notches of three rungs each.
    notches = math.log(position.result / position.ended_at, 1.12**-3) - 8.0 / 3.0
    assert notches == pytest.approx(round(notches), abs=0.1)
    assert 0 <= round(notches) <= 1


def test_gains_found_are_held_while_later_ones_are_tuned(rehearsal, summary):
    for number, stage in enumerate(summary.stages):
        later = np.flatnonzero(rehearsal.output("active_stage") > number)
        for tick in later[:: max(1, len(later) // 50)]:
            assert rehearsal.settings(int(tick))[stage.stage] == stage.result
    first = rehearsal.settings(0)
    assert first["position_gain"] == summary.stages[2].start


def test_exact_limits_are_those_with_the_held_gains(rehearsal, summary):
    speed, integral, position = summary.stages
    held = {"speed_gain": speed.result, "position_gain": position.start}
    exact = STAGE_THEORY["integral_rate"].limit(rehearsal.machine, held)
    assert integral.theory.limit == pytest.approx(exact.gain, rel=1e-9)


def test_integral_torque_is_carried_over_at_each_change_of_gain(rehearsal):
    """One rung up, far below the limit, the torque stays what it was but for noise and motion."""
    torque = rehearsal.log.signal("measured_torque")
    changes = np.flatnonzero(np.diff(rehearsal.output("integral_rate_rung")) > 0)
    jumps = np.abs(np.diff(torque))[changes]
    assert jumps[: len(jumps) // 2].max() < 0.05 * rehearsal.machine.drive.rated_torque_nm


def measurements(rehearsal):
    """Yield what the evaluation of steps said where it let a result pass, beside exact margins."""
    states = [state.name for state in rehearsal.trial.states]
    judging = rehearsal.log.state == states.index("judge_margins")
    passed = judging[:-1] & (rehearsal.log.state[1:] == states.index("verify_move"))
    for tick in np.flatnonzero(passed) + 1:
        gains = rehearsal.settings(int(tick) - 1)
        loop = machine_loop(rehearsal.machine, "speed_gain", gains)
        exact = margins(loop, gains["speed_gain"])
        yield (
            rehearsal.input("step_sensitivity")[tick] / 100.0 / exact.peak_sensitivity,
            rehearsal.input("step_phase_margin")[tick] - exact.phase_deg,
        )


def test_margins_from_steps_are_the_exact_ones(rehearsal, summary):
    """S from the speed error's answer to a step, against the open loop of exact theory.

    Of eight seeds on the grinder slide the phase was 16 degrees off in one, 9 to 14 in three; of
    five on the gantry the sensitivity was 0.836 of the exact one in one, else 0.87 and more.
    """
    bench = Bench(TRIAL, rehearsal.machine, changeable=True)
    each = [np.array(list(measurements(rehearse(bench, seed)))) for seed in (2, 3, 4, 5)]
    assert min(map(len, each)) >= 2
    found = np.concatenate([*each, list(measurements(rehearsal))])
    assert np.all((found[:, 0] > 0.82) & (found[:, 0] < 1.1))
    assert 0.87 < np.median(found[:, 0]) < 1.05
    assert np.all((found[:, 1] > -9.0) & (found[:, 1] < 18.0))
    assert -4.0 < np.median(found[:, 1]) < 9.0
    assert summary.measured_margins.phase_margin_deg >= 39
    assert summary.measured_margins.peak_sensitivity <= 1.95
    assert "asked for: phase 39" in " ".join(" ".join(summary_lines(summary)).split())


def test_it_says_of_which_loads_there_is_no_evidence(rehearsal, summary):
    """1.2 periods fit into what is watched of each step, from 0.4 s or less after it on."""
    changes = np.flatnonzero(np.diff(rehearsal.output("position_step")))
    steps = int(rehearsal.output("step_number").max()) + 1
    watched = (changes[1::2] - changes[::2])[-steps:].min() * 1e-3
    least = summary.measured_margins.swing_judged_from_hz
    assert least == pytest.approx(1.2 / (watched - 0.4), rel=0.12)
    assert summary.as_json()["measured_margins"]["swing_judged_from_hz"] == least
    words = " ".join(" ".join(summary_lines(summary)).split())
    assert f"from {least:.2g} Hz on; no evidence about slower ones" in words
    assert "the motor swinging at rest" in words
    slow = summary.measured_margins.evidence_in_words(0.9 * least)
    assert f"such as this one of {0.9 * least:.3g} Hz" in slow


@pytest.mark.slow
def test_moves_that_are_too_short_tell_nothing_of_a_swinging_load():
    """0.3 s at constant speed: nothing is left of it when the answer to a step has settled."""
    summary = summarise(rehearse(Bench(TRIAL, sample(MOTION, 81004), changeable=True), seed=81004))
    assert summary.outcome == "finished"
    assert summary.measured_margins.swing_judged_from_hz is None
    assert "too short a time" in " ".join(" ".join(summary_lines(summary)).split())


@pytest.mark.slow
def test_a_third_of_the_limit_is_too_much_for_some_loads():
    """An axis that kept 20 degrees and Ms 3.3 by shares of its limits alone."""
    machine = sample(OWN, 9017)
    summary = summarise(rehearse(Bench(TRIAL, machine, changeable=True), seed=9017))
    assert summary.outcome == "finished"
    assert summary.stages[0].theory.result_share < 0.29
    assert summary.margins.phase_deg >= 35.0
    assert summary.margins.peak_sensitivity <= 2.12


@pytest.mark.slow
def test_noise_alone_does_not_lower_the_gains():
    """The same axis with a torque noise of 1 %: at most a notch lower."""
    quiet = load_machine("grinder-slide")
    noisy = dataclasses.replace(
        quiet, drive=dataclasses.replace(quiet.drive, torque_noise_per_unit=0.01)
    )
    bench = Bench(TRIAL, quiet, changeable=True)
    shares = []
    for machine in (quiet, noisy):
        bench.mount(machine)
        summary = summarise(rehearse(bench, seed=2))
        shares.append(summary.stages[0].theory.result_share)
    assert shares[1] > 0.8 * shares[0]


@pytest.mark.slow
def test_margins_that_noise_hides_are_not_called_good():
    """A fast axis with a fine encoder but much noise: with some seeds nothing stands out, and that
    is said; with others a margin is."""
    bench, hidden = Bench(TRIAL, load_machine("positioning-bench"), changeable=True), set()
    for seed in (1, 2, 13, 14):
        summary = summarise(rehearse(bench, seed))
        assert summary.outcome in ("finished", "limited_by_noise")
        hidden.add(unseen := summary.measured_margins.phase_margin_deg is None)
        words = " ".join(" ".join(summary_lines(summary)).split())
        assert ("noise hides" in words) is unseen
    assert hidden == {True, False}
