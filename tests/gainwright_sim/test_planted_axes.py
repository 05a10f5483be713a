"""Random axes on which a trial once said too much, kept as they were found.

Exact limits are those of the linear loop (``theory``); the axes are invented.
"""

from __future__ import annotations

import dataclasses

import pytest

from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.model import Trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.benchmark.quiet_machines import quiet_axis, short_ladder_trial
from gainwright_sim.campaign.families import FAMILIES
from gainwright_sim.campaign.run import Benches
from gainwright_sim.campaign.sampling import sample
from gainwright_sim.machine import load_machine
from gainwright_sim.machine.model import Play
from gainwright_sim.rehearsal.advice import machine_advice
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.outcome import OUTCOMES
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.summary import summarise

TRIAL = load_trial(shipped_trial_path())
GENTLE = load_trial(shipped_trial_path("gentle"))


def rehearsed(family: str, seed: int, trial: Trial = TRIAL):
    bench = Benches(trial).mounted(sample(FAMILIES[family], seed))
    return summarise(rehearse(bench, seed))


@pytest.mark.slow
def test_light_load_that_swings_from_the_start_gain_on_keeps_the_start_gain():
    """By a sixth of cruise speed, bounded by friction: nothing above it can be verified."""
    summary = rehearsed("mixed", 70007)
    assert not OUTCOMES[summary.outcome].wrong
    assert summary.stages[0].result in (None, summary.stages[0].start)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [200083, 4])
def test_one_faint_answer_among_hidden_ones_leaves_the_margin(seed):
    """Noise hides answers from the limit on; one at 1.46 of it, 8 % above silence, let 0.755 of the
    limit be verified, and with another seed 0.789; now onset is heard at 1.34 of it."""
    bench = Benches(TRIAL).mounted(sample(FAMILIES["mixed"], 200083))
    theory = summarise(rehearse(bench, seed)).stages[0].theory
    assert theory is not None and theory.result_share < 0.70


@pytest.mark.slow
def test_limit_cycle_that_was_taken_for_silence():
    """It came up over five rungs, was adapted to, and a gain at 0.97 of the limit was verified."""
    summary = rehearsed("mixed", 300043)
    theory = summary.stages[0].theory
    assert not OUTCOMES[summary.outcome].wrong
    assert theory.result_share is None or theory.result_share < 0.70


@pytest.mark.slow
@pytest.mark.parametrize("trial", [TRIAL, GENTLE])
def test_growth_that_silence_hides_is_listened_for(trial):
    """A narrow resonance grows by 5/s, its answers are twice silence: after two blocks each gain up
    to 1.76 of the limit was quiet, and 0.87 of it was verified."""
    theory = rehearsed("mixed", 1880154, trial).stages[0].theory
    assert theory is not None and theory.result_is_stable and theory.result_share < 0.65


@pytest.mark.slow
def test_noise_that_was_not_there_before_keeps_a_reserve():
    """The loop swings within friction from 1.3 of the limit on, six times as loud as at the gain
    before: it filled the torque at 1.42, and 0.702 was verified."""
    theory = rehearsed("mixed", 2410033).stages[0].theory
    assert theory is not None and theory.result_is_stable and theory.result_share < 0.65


@pytest.mark.slow
@pytest.mark.parametrize("seed", [970198, 990031, 1810047, 2770017])
def test_speed_that_swings_by_itself_ends_the_search(seed):
    """By 0.07 of cruise speed and more; 1.07, 0.95, 0.77 and 1.21 of the limit were verified."""
    summary = rehearsed("mixed", seed)
    assert summary.outcome == "limited_by_noise"
    theory = summary.stages[0].theory
    assert theory is not None and theory.result_is_stable and theory.result_share < 0.70


@pytest.mark.slow
def test_onset_after_a_large_step_counts_from_its_lower_end():
    """The limit lay within a step of 16 rungs: heard at 1.45 of it, 0.716 was verified.

    It lies a turn of lag later, and is predicted now.
    """
    theory = rehearsed("mixed", 1700090, GENTLE).stages[0].theory
    assert theory is not None and theory.result_is_stable and theory.result_share < 0.55


@pytest.mark.slow
@pytest.mark.parametrize(
    ("family", "seed"),
    [("motion", 2200085), ("mixed", 2311038), ("mixed", 2312144), ("mixed", 2310020)],
)
def test_predictions_that_depend_on_how_much_an_axis_swings_do_not_agree(family, seed):
    """Each was predicted 1.9 to 9.3 times too high, by measurements that agreed.

    In the first the motor swung by half of cruise speed and more, in the others the load did: where
    friction changes its direction it damps a resonance, the more the less it swings.
    """
    stage = rehearsed(family, seed, GENTLE).stages[0]
    assert not stage.prediction.agreed or stage.prediction.predicted_share < 1.1
    assert stage.theory.result_is_stable and stage.theory.result_share < 0.70


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2312084, 2, 3, 4])
def test_crossing_from_the_start_gain_hears_what_a_test_signal_sets_off(seed):
    """Predictions 3.8 times too high do not agree. The search began where they were measured, at
    0.56 of the limit, took the swinging load for noise and verified 1.6 to 2.0 of the limit."""
    bench = Benches(GENTLE).mounted(sample(FAMILIES["mixed"], 2312084))
    summary = summarise(rehearse(bench, seed))
    assert not summary.stages[0].prediction.agreed
    assert summary.ending is not None and summary.ending.reason == "limit_too_near_start"


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2312084, 5])
def test_pulse_that_sets_off_what_goes_on_by_itself_ends_the_search(seed):
    """The load sticks and swings by more than cruise speed, hardly seen in the motor, once a pulse
    has set it off: noise is four times as loud from then on. 1.99 of the limit was verified."""
    bench = Benches(TRIAL).mounted(sample(FAMILIES["mixed"], 2312084))
    summary = summarise(rehearse(bench, seed))
    assert summary.ending is not None and summary.ending.reason == "limit_too_near_start"


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2750054, 1])
def test_ringing_that_noise_hides_but_that_does_not_fall_ends_the_search(seed):
    """The load sticks and swings by more than cruise speed beyond the limit, among encoder steps of
    a third of it: 2.1 to 2.6 of the limit were verified."""
    bench = Benches(TRIAL).mounted(sample(FAMILIES["mixed"], 2750054))
    theory = summarise(rehearse(bench, seed)).stages[0].theory
    assert theory is not None and theory.result_is_stable and theory.result_share < 0.68


@pytest.mark.slow
@pytest.mark.parametrize(
    ("axis", "seed"),
    [
        (2313026, 2313026),
        (2500441, 2500441),
        (2500441, 3),
        (2900345, 2900345),
        (2900345, 4),
        (2800493, 2800493),
        (2800493, 3),
        (600356, 2),
        (600356, 600356),
        (970198, 5),
    ],
)
def test_onset_that_noise_hid_for_long_takes_the_reserve(axis, seed):
    """Friction bounds the oscillation, noise hides the answers: 0.70 to 1.02 of the limit were
    verified, since onset was heard at 1.5 to 2.5 of it."""
    bench = Benches(TRIAL).mounted(sample(FAMILIES["mixed"], axis))
    theory = summarise(rehearse(bench, seed)).stages[0].theory
    assert theory is not None and theory.result_is_stable and theory.result_share < 0.70


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2900163, 4])
def test_an_axis_is_known_to_be_wrong(seed):
    """And said to be (README): 0.94, or 1.67 with another seed; whoever cures it moves it up."""
    bench = Benches(TRIAL).mounted(sample(FAMILIES["mixed"], 2900163))
    assert OUTCOMES[summarise(rehearse(bench, seed)).outcome].wrong


@pytest.mark.slow
def test_gentle_result_far_below_a_limit_that_noise_hides():
    """0.73 of the limit was verified, limited by noise."""
    theory = rehearsed("mixed", 2950137, GENTLE).stages[0].theory
    assert theory is not None and theory.result_share < 0.70


@pytest.mark.slow
def test_load_that_only_shows_as_a_little_swinging_at_rest_has_no_result():
    """A position gain at 1.4 of its limit was verified: the load swung by cruise speed, beside a
    faster one that hid it from the steps, the standing motor by 3 % of it, or 2 ms."""
    summary = rehearsed("timing", 99207, load_trial(shipped_trial_path("complete")))
    assert summary.ending.reason == "swings_at_rest"


@pytest.mark.slow
def test_one_axis_of_three_gains_is_known_to_be_wrong():
    """And said to be (README): 21 times the limit of the position gain. A load at 4.5 Hz swings by
    cruise speed, held by its friction alone, and the motor by 0.3 % of it; whoever cures it asks
    for the opposite here."""
    summary = rehearsed("resonance", 3400011, load_trial(shipped_trial_path("complete")))
    assert OUTCOMES[summary.outcome].wrong


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2200108, 2200028, 2311037])
def test_tone_of_the_machine_beside_the_limit_is_no_limit(seed):
    """Interpolation error and ripple: the lowest crossing lay in a tone, and the next was taken.

    1.41 and 1.21 of the limit were predicted; the third met 0.33 to 1.12 of it on the way.
    """
    stage = rehearsed("disturbed", seed, GENTLE).stages[0]
    assert not stage.prediction.agreed or abs(stage.prediction.predicted_share - 1.0) < 0.06
    assert stage.theory.result_share < 0.55


@pytest.mark.slow
@pytest.mark.parametrize(("family", "seed"), [("timing", 2312068), ("mixed", 500203)])
def test_limit_a_turn_of_lag_later_is_seen(family, seed):
    """0.81 and 0.71 of the limit were verified: it lay above the band of the test signal."""
    stage = rehearsed(family, seed, GENTLE).stages[0]
    assert stage.theory.result_share < 0.55


@pytest.mark.slow
def test_ringing_that_no_short_move_sees_to_fall_is_not_passed():
    """Four moves of eight blocks each: it stayed at 0.83 of the limit, and on to 3.5 times it."""
    theory = rehearsed("mixed", 1200130).stages[0].theory
    assert theory is not None and theory.result_is_stable and theory.result_share < 0.45


@pytest.mark.slow
def test_ringing_that_friction_keeps_at_one_size_is_onset():
    """A slow axis: what was left of a pulse fell by a twentieth only, up to 1.8 of the limit."""
    summary = rehearsed("motion", 970096)
    assert summary.outcome == "finished"
    assert 0.94 < summary.stages[0].theory.limit_share < 1.06


@pytest.mark.slow
@pytest.mark.parametrize(
    ("family", "seed", "outcome"),
    [("encoder", 900201, "limited_by_noise"), ("mixed", 900255, "limited_by_noise")],
)
def test_encoder_noise_that_leaps_once_is_no_onset(family, seed, outcome):
    """Called onset at 0.10 and 0.27 of the limit; one rung on, or heard again, it is noise."""
    assert rehearsed(family, seed).outcome == outcome


@pytest.mark.slow
@pytest.mark.parametrize(("family", "seed"), [("timing", 1600358), ("rates", 1600452)])
def test_encoder_steps_that_were_quiet_before_the_pulse_are_no_onset(family, seed):
    """Called onset at 0.35 and 0.27 of the limit: steps are louder at a speed a little other."""
    summary = rehearsed(family, seed)
    assert summary.outcome == "finished"
    assert 0.94 < summary.stages[0].theory.limit_share < 1.06


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1840041, 1840052])
def test_swing_no_louder_than_coarse_steps_is_not_taken_for_them(seed):
    """One step a tick is cruise speed: half of it was nothing, and 0.96 of the limit verified."""
    summary = rehearsed("mixed", seed)
    assert summary.outcome == "finished" and summary.stages[0].theory.result_share < 0.55


@pytest.mark.slow
def test_noise_that_does_not_show_in_the_torque_ends_no_search():
    """Speed error four times the usual without any torque: a drive of 1 kHz, at its limit."""
    summary = rehearsed("rates", 700015)
    assert summary.outcome == "finished"
    assert 0.94 < summary.stages[0].theory.limit_share < 1.06


@pytest.mark.slow
@pytest.mark.parametrize("seed", [200010, 200016, 200032])
def test_move_that_ends_before_the_last_noise_is_tried_again(seed):
    """Each gave up with speed_not_reached, though it moved at cruise speed nearly all the time."""
    summary = rehearsed("mixed", seed)
    assert summary.ending is not None and summary.ending.reason != "speed_not_reached"


def test_encoder_whose_steps_fill_the_torque_is_refused_with_what_would_do():
    """It swung by half the torque limit before anybody could look."""
    with pytest.raises(InputError) as refused:
        Benches(TRIAL).mounted(sample(FAMILIES["mixed"], 410055))
    (problem,) = refused.value.problems
    assert problem.place == "drive.encoder_counts_per_turn"
    assert "63%" in problem.found and "start from 0.48" in problem.remedy


@pytest.mark.slow
def test_ripple_of_turning_round_may_look_like_onset_but_its_result_is_safe():
    """No gain of the ladder is above 0.8 of the exact limit, so the onset reported is false.

    Expecting all of this noise again at the next rung would call it noise, and three of thirteen
    rehearsals of the door hoist, whose limit is reached, would then call their onset noise too.
    """
    trial = short_ladder_trial()
    machine = quiet_axis(FAMILIES["disturbed"], 74, trial)
    assert machine is not None
    summary = summarise(rehearse(Benches(trial).mounted(machine), 74))
    theory = summary.stages[0].theory
    assert theory is not None and theory.result_is_stable and theory.result_share < 0.70


@pytest.mark.parametrize("seed", [20, 21, 27])
def test_onset_of_the_door_hoist_is_not_called_noise(seed):
    summary = summarise(rehearse(Bench(TRIAL, load_machine("door-hoist")), seed))
    assert summary.outcome == "finished"
    assert 0.94 < summary.stages[0].theory.limit_share < 1.06


@pytest.mark.parametrize(("coulomb_nm", "floats"), [(0.0, True), (5.0, False)])
def test_a_load_that_floats_in_its_backlash_is_warned_of(coulomb_nm, floats):
    """At constant speed the motor is alone: 2.5 times the limit of the whole was verified."""
    machine = sample(FAMILIES["resonance"], 3)
    friction = dataclasses.replace(
        machine.friction, load_coulomb_nm=coulomb_nm, load_viscous_nms_per_rad=0.0
    )
    play = Play(gap_rad=1e-3, gap_stiffness_nm_per_rad=machine.chain.stiffnesses_nm_per_rad[0])
    machine = dataclasses.replace(machine, friction=friction, play=play)
    said = machine_advice(TRIAL, machine, Benches(TRIAL).mounted(machine).tables)
    assert any("the load may float" in line for line in said) == floats
