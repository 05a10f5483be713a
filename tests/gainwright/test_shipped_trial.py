"""The shipped trial: its ways through the search to a result."""

from __future__ import annotations

from dataclasses import replace

import pytest

from .shipped_walk import BURST, LASTING, MARGIN, TOP, TRIAL, UNSEEN, Walk, walk_to


def test_onset_by_burst_is_backed_off_verified_and_finished():
    walk = Walk().started().at_rung(40)
    assert walk.tick(**BURST) == "burst_onset@detect"
    assert (walk.machine.state, walk.rung) == ("back_off", 40 - MARGIN)
    walk.until("finished")
    assert (walk.rung, walk.reason) == (40 - MARGIN, "below_onset")
    kept = walk.machine.variables
    assert (kept["limit_rung"], kept["result_rung"], kept["onset_found"]) == (40, 40 - MARGIN, 1)
    # Verified once in each direction, and the brake closed before torque went.
    order = ["first_direction_quiet", "both_directions_quiet", "axis_has_stopped", "finish"]
    assert [row for row in walk.rows if row in order] == order
    assert not walk.machine.outputs()["torque_request"]


def test_onset_by_ringing_that_lasts_over_two_listenings():
    walk = Walk().started().at_rung(30)
    ticks = walk.until("back_off", **LASTING)
    assert walk.rows[-1] == "ringing_onset@detect" and walk.rung == 30 - MARGIN
    assert walk.rows.count("listen_again") == 1
    assert ticks > 2 * TRIAL.constant("listen_timeout_ticks")


def test_ringing_that_shows_a_little_is_no_onset_at_first():
    """But after one repeat: a loop that friction bounds shows no more than that."""
    walk = Walk().started().at_rung(30)
    faint = {**LASTING, "burst_level": TRIAL.constant("faint_burst")}
    walk.until("back_off", **faint)
    assert walk.rows.count("listen_again") == 1 and walk.rows[-1] == "ringing_onset@detect"


def test_strong_ringing_that_does_not_fall_is_onset_at_once():
    walk = Walk().started().at_rung(30)
    strong = {**LASTING, "ring_level": TRIAL.constant("strong_threshold")}
    walk.tick(**strong)
    assert walk.tick(**strong, cruising=0) == "ringing_onset@detect"


@pytest.mark.slow
def test_strong_ringing_that_stays_after_all_repeats_is_onset_however_little_it_shows():
    """Friction keeps it at one size: each pulse leaves it a little larger, and falls a little."""
    walk = Walk().started().at_rung(30)
    small = {**LASTING, "ring_level": TRIAL.constant("strong_threshold"), "burst_level": 1}
    walk.until("back_off", **{**small, "decay_level": TRIAL.constant("slow_decay")})
    assert walk.rows[-1] == "ringing_onset@detect"
    assert walk.rows.count("listen_again") == TRIAL.constant("most_repeats")


def test_ringing_that_hardly_shows_in_the_torque_is_no_onset():
    """After all repeats the search goes on, but nothing is verified by it."""
    walk = Walk().started().at_rung(30)
    weak = {**LASTING, "burst_level": TRIAL.constant("faint_burst") - 1, "ring_level": 511}
    while walk.rung == 30:
        walk.tick(**weak)
    assert walk.rows[-1] == "raise_gain_unseen"
    assert walk.rows.count("listen_again") == TRIAL.constant("most_repeats")


@pytest.mark.slow
def test_ringing_that_was_never_seen_to_fall_ends_the_search_however_little_it_shows():
    """A load that friction keeps swinging at one size, on moves too short to judge a decay."""
    for decay in (TRIAL.constant("slow_decay"), 65535):
        walk = Walk().started().at_rung(30)
        staying = {**LASTING, "burst_level": 0, "ring_blocks": 8, "decay_level": decay}
        walk.until("back_off", **staying)
        assert walk.rows[-1] == "noise_hides_ringing"
        assert walk.machine.variables["limit_rung"] < 30


def test_listening_cut_off_proves_nothing():
    """The axis comes to the end of its travel, or slows down, before the ringing is silent."""
    for change in ({"cruising": 0}, {"speed_share": 101}):
        walk = Walk().started().at_rung(30)
        walk.tick(ring_level=300)
        assert walk.tick(ring_level=0, **change) == "listen_again"
        assert walk.rung == 30 and walk.machine.variables["repeats"] == 1


def test_standing_axis_is_never_judged():
    walk = Walk().started().at_rung(3, "move")
    walk.until("aborted", speed_share=0)
    assert walk.reason == "speed_not_reached" and walk.rung == 0


def test_ringing_that_falls_is_quiet_only_if_it_falls_fast_or_after_every_repeat():
    falling = {**LASTING, "decay_level": TRIAL.constant("fading_decay")}
    walk = Walk().started().at_rung(30)
    walk.tick(**falling)
    assert walk.tick(**falling, cruising=0) == "raise_gain"
    slowly = {**LASTING, "decay_level": TRIAL.constant("slow_decay") - 1}
    walk.at_rung(31)
    for _ in range(TRIAL.constant("most_repeats")):
        assert walk.tick(**slowly, cruising=0) == "listen_again"
        walk.until("detect")
    assert walk.tick(**slowly, cruising=0) == "raise_gain"


def test_pulse_that_is_never_seen_is_no_evidence():
    """Unseen without noise: the search may go on, but nothing is verified by it."""
    walk = Walk().started().at_rung(30)
    walk.until("move", **UNSEEN)
    assert walk.rows[-1] == "listen_again"
    walk = Walk().started().at_rung(30)
    walk.tick(**BURST)
    walk.until("stop_axis", **UNSEEN)
    assert walk.rows[-1] == "verification_not_judged"
    walk.until("aborted")
    assert walk.reason == "pulse_not_seen"


def test_strong_noise_excites_the_loop_itself():
    noisy = {**UNSEEN, "noise_level": TRIAL.constant("hiding_noise")}
    walk = Walk().started().at_rung(30)
    assert walk.tick(**noisy) == "raise_gain"
    walk.at_rung(31)
    walk.until("move", **{**noisy, "ring_level": TRIAL.constant("lasting_threshold")})
    assert walk.rows[-1] == "listen_again"  # what rises is no noise


def test_noise_that_leaps_is_onset_if_it_is_heard_twice():
    """Louder than noise is at this gain, though no burst: the loop oscillates by itself."""
    loud = {"noise_level": TRIAL.constant("noise_threshold"), "noise_tripled": 1}
    walk = Walk().started().at_rung(30, "hear_own_noise")
    assert walk.tick(**loud) == "oscillation_heard_once"
    walk.until("hear_own_noise")
    assert walk.rung == 30
    assert walk.tick(**loud) == "oscillation_onset"
    walk.until("finished")
    assert (walk.rung, walk.reason) == (30 - MARGIN, "below_onset")


def test_ringing_that_a_pulse_has_set_off_and_that_stays_is_onset():
    walk = Walk().started().at_rung(30)
    walk.tick(response_level=2000, ring_level=2000, ring_blocks=20, decay_level=256, cruising=0)
    assert walk.rows[-1] == "listen_again"
    walk.until("hear_own_noise", ringing_stays=1)
    walk.until("back_off", ringing_stays=1)
    assert walk.rows[-1] == "oscillation_onset" and walk.rung == 30 - MARGIN


@pytest.mark.parametrize("doubt", ["answers_vanished", "noise_grown"])
@pytest.mark.parametrize(("rung", "result"), [(60, 40), (20, 0), (17, 0)])
def test_onset_that_may_have_come_late_takes_the_reserve(doubt, rung, result):
    """Answers have vanished of late, or noise has risen: the limit may have been passed unheard."""
    walk = Walk().started().at_rung(rung, "hear_own_noise")
    assert walk.tick(**BURST, **{doubt: 1}).startswith("burst_onset")
    walk.until("finished")
    assert walk.machine.variables["limit_rung"] == rung
    assert walk.rung == result and walk.reason == "below_onset"


@pytest.mark.parametrize(
    ("noise", "burst", "onset"),
    [(3, 12, 1), (3, 11, 0), (4, 12, 0), (7, 32, 1), (8, 32, 0), (15, 64, 1), (16, 64, 0)],
)
def test_torque_far_above_its_noise_long_after_the_pulse_is_onset(noise, burst, onset):
    walk = Walk().started().at_rung(30)
    heard = {"noise_level": noise, "burst_level": burst, "ring_blocks": 4}
    walk.tick(**heard, response_level=2000, ring_level=2000, decay_level=256, cruising=0)
    assert (walk.rows[-1] == "ringing_onset@detect") == onset


def test_noise_that_leaps_once_is_no_onset():
    loud = {"noise_level": TRIAL.constant("noise_threshold"), "noise_tripled": 1}
    walk = Walk().started().at_rung(30, "hear_own_noise")
    walk.tick(**loud)
    walk.until("detect")
    assert "give_pulse" in walk.rows


@pytest.mark.parametrize("hidden", [0, 1])
def test_noise_ends_the_search_in_an_end_of_its_own(hidden):
    walk = Walk().started().at_rung(30, "hear_own_noise")
    loud = {"move_noise_level": TRIAL.constant("noise_threshold"), "answers_hidden": hidden}
    assert walk.tick(**loud) == "noise_ends_search@hear_own_noise"
    walk.until("noise_limited")
    kept, limit = walk.machine.variables, 30 - 4 * hidden
    assert (kept["limit_rung"], walk.rung, kept["onset_found"]) == (limit, limit - MARGIN, 0)
    assert walk.machine.outputs()["limited_by_noise"] and walk.reason == "below_noise"


def test_noise_that_has_risen_for_good_ends_the_search_a_reserve_below():
    """If it shows at all in the torque: a loop that friction bounds sounds like this."""
    shows = TRIAL.constant("faint_burst")
    walk = Walk().started().at_rung(30, "hear_own_noise")
    assert walk.tick(noise_grown=1, noise_level=shows - 1) == "give_pulse"
    walk.at_rung(31, "hear_own_noise")
    assert walk.tick(noise_grown=1, noise_level=shows) == "noise_ends_search@hear_own_noise"
    walk.until("noise_limited")
    assert (walk.machine.variables["limit_rung"], walk.rung) == (27, 27 - MARGIN)


def test_ringing_that_stalls_under_noise_ends_the_search_a_reserve_below():
    walk = Walk().started().at_rung(30, "hear_own_noise")
    assert walk.tick(ringing_stalls=1) == "noise_ends_search@hear_own_noise"
    walk.until("noise_limited")
    assert (walk.machine.variables["limit_rung"], walk.rung) == (26, 26 - MARGIN)


def test_noise_that_has_risen_and_hides_the_answers_takes_a_deep_reserve():
    walk = Walk().started().at_rung(60, "hear_own_noise")
    risen = {"noise_grown": 1, "answers_hidden": 1, "noise_level": TRIAL.constant("faint_burst")}
    assert walk.tick(**risen) == "noise_ends_search@hear_own_noise"
    walk.until("noise_limited")
    assert (walk.machine.variables["limit_rung"], walk.rung) == (44, 44 - MARGIN)


@pytest.mark.parametrize(("rung", "result"), [(4, 0), (15, 0), (16, 0), (17, 1)])
def test_noise_near_the_start_gain_has_the_start_gain_verified(rung, result):
    walk = Walk().started().at_rung(rung, "hear_own_noise")
    loud = {"move_noise_level": TRIAL.constant("noise_threshold")}
    assert walk.tick(**loud) == "noise_ends_search@hear_own_noise"
    walk.until("noise_limited")
    kept = walk.machine.variables
    assert (kept["limit_rung"], walk.rung) == (result + MARGIN, result)


def test_noise_that_fills_the_torque_at_the_start_gain_too_gives_no_result():
    loud = {"move_noise_level": TRIAL.constant("noise_threshold")}
    walk = Walk().started().at_rung(7, "hear_own_noise")
    walk.tick(**loud)
    walk.until("aborted", **loud)
    assert walk.rows.count("noise_without_margin@verify_noise") == 1
    assert walk.reason == "noise_too_high" and walk.rung == 0


@pytest.mark.parametrize("state", ["move", "hear_own_noise", "pulse", "detect", "verify_detect"])
def test_torque_at_its_limit_without_a_burst_is_no_onset(state):
    """A load that swings, a ramp too steep: the gain has nothing to do with it."""
    walk = walk_to(state)
    limited = {"torque_saturated": 1, "burst_level": TRIAL.constant("burst_threshold") - 1}
    assert walk.tick(**limited).startswith("torque_at_its_limit")
    assert walk.machine.state == "stop_axis" and walk.rung == 0
    walk.until("aborted")
    assert walk.reason == "torque_limited" and not walk.machine.variables["onset_found"]
    walk = walk_to(state)
    assert walk.tick(**BURST, torque_saturated=1).startswith("burst_")


def test_last_noise_may_be_cut_off_once_more():
    """Pulses that were not seen use up the repeats; a move may end before the last of them."""
    walk = Walk().started().at_rung(30)
    most = TRIAL.constant("most_repeats")
    while walk.machine.variables["repeats"] < most:
        walk.tick(**UNSEEN)
    walk.until("hear_own_noise")
    assert walk.tick(cruising=0) == "noise_cut_off"
    assert walk.machine.variables["repeats"] == most + 1
    walk.until("hear_own_noise")
    assert walk.tick(cruising=0) == "noise_cut_off_too_often@hear_own_noise"
    walk = Walk().started().at_rung(30)
    while walk.machine.variables["repeats"] < most:
        walk.tick(**UNSEEN)
    walk.until("hear_own_noise")
    walk.tick(cruising=0)
    while walk.rung == 30:
        walk.tick(**UNSEEN)
    assert walk.rows[-1] == "raise_gain_unseen", "no repeat is left, but the pulse was given"


def test_nobody_listens():
    walk = Walk().started().at_rung(20, "hear_own_noise")
    ticks = walk.until("stop_axis", noise_blocks=0)
    assert ticks == TRIAL.constant("noise_timeout_ticks") + 1
    walk.until("aborted")
    assert walk.reason == "no_measurement"


def test_quiet_to_the_top_keeps_the_margin_without_onset():
    walk = Walk().started()
    walk.until("finished")
    kept = walk.machine.variables
    assert (kept["limit_rung"], kept["result_rung"], kept["onset_found"]) == (TOP, TOP - MARGIN, 0)
    assert walk.reason == "below_top_rung"


def test_gain_goes_up_by_single_rungs_and_direction_alternates():
    walk = Walk().started().at_rung(0, "move")
    seen = []
    while walk.machine.variables["gain_rung"] < 5:
        walk.tick()
        if walk.machine.outputs()["pulse_request"]:
            seen.append((walk.rung, walk.machine.outputs()["target_position"]))
    lower, upper = (TRIAL.constant(f"{end}_end_position") for end in ("lower", "upper"))
    assert seen == [(0, upper), (1, lower), (2, upper), (3, lower), (4, upper)]


def test_failed_verification_lowers_the_limit_by_a_margin_each_time():
    walk = Walk().started().at_rung(60)
    walk.tick(**BURST)
    expected = 60
    while expected >= MARGIN:
        assert walk.machine.variables["limit_rung"] == expected
        expected -= MARGIN
        assert walk.rung == expected
        walk.until("verify_detect")
        walk.tick(**BURST)
    assert walk.machine.state == "stop_axis" and walk.rung == 0
    assert walk.rows[-1] == "burst_without_margin@verify_detect"
    walk.until("aborted")
    assert walk.reason == "limit_too_near_start"


@pytest.mark.parametrize("rung", [0, MARGIN - 1])
def test_onset_near_the_start_gain_gives_no_result(rung):
    walk = Walk().started().at_rung(rung)
    assert walk.tick(**BURST) == "burst_without_margin@detect"
    walk.until("aborted")
    assert walk.rung == 0


def test_numbers_of_names_are_places_in_the_file():
    trial = TRIAL
    for group, numbers in (
        (trial.states, trial.index.states),
        (trial.inputs, trial.index.inputs),
        (trial.outputs, trial.index.outputs),
        (trial.variables, trial.index.variables),
        (trial.conditions, trial.index.conditions),
    ):
        assert [group[number].name for number in numbers.values()] == list(numbers)
    assert trial.index.condition_bits[trial.conditions[5].name] == 1 << 5
    fewer = replace(trial, states=trial.states[1:])
    assert fewer.index.states[trial.states[1].name] == 0
