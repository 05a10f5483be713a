"""Whole moves and standing after them in the complete trial: hunting, swinging, the profile."""

from __future__ import annotations

import dataclasses
import re
import tomllib

import numpy as np
import pytest

from gainwright.language.load import load_trial, trial_from_document
from gainwright.language.shipped import shipped_trial_path
from gainwright_sim.campaign.families import EVERY_FAMILY
from gainwright_sim.campaign.sampling import sample
from gainwright_sim.machine import load_machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.rehearse import rehearse
from gainwright_sim.rehearsal.summary import summarise
from gainwright_sim.rehearsal.words import summary_lines

TRIAL = load_trial(shipped_trial_path("complete"))


@pytest.fixture(scope="module")
def bench():
    return Bench(TRIAL, load_machine("glaze-gantry"), changeable=True)


def tuned(bench, machine):
    bench.mount(machine)
    rehearsal = rehearse(bench, seed=1)
    assert not rehearsal.violations
    return rehearsal, summarise(rehearsal)


def sticky(breakaway, coulomb=0.3):
    """A slide with much friction, which falls at once when the axis moves."""
    machine = load_machine("grinder-slide")
    rated_nm = machine.drive.rated_torque_nm
    friction = dataclasses.replace(
        machine.friction,
        motor_coulomb_nm=coulomb * rated_nm,
        motor_breakaway_nm=breakaway * rated_nm,
        stribeck_speed_rad_per_s=0.05,
    )
    return dataclasses.replace(machine, friction=friction)


def test_hunting_bounds_the_integral_time_from_below(bench):
    rehearsal, summary = tuned(bench, sticky(0.23, coulomb=0.15))
    assert summary.ending.reason == "below_hunting"
    _, integral, position = summary.stages
    assert integral.ended_by == "hunting" and position.ended_by != "hunting"
    # Notches of 16 rungs, or down to the lowest, below what the limit had given.
    held = rehearsal.variable("integral_rung")
    before, after = int(held.max()), int(held[-1])
    notches = int(rehearsal.variable("profile_notches").max())
    assert before > after == max(before - 16 * notches, 0)
    assert integral.result / integral.ended_at < 0.75 * 1.045**-53
    assert rehearsal.input("rest_jumps").max() == 4
    assert summary.profile.lowered_by == "hunting"
    assert summary.margins.phase_deg >= 35.0
    assert "a gain was lowered: hunting" in " ".join(" ".join(summary_lines(summary)).split())


def test_an_axis_that_hunts_at_any_integral_rate_gives_no_result(bench):
    _, summary = tuned(bench, sticky(0.25, coulomb=0.15))
    assert summary.outcome == "aborted" and summary.ending.reason == "hunts_at_rest"
    assert "no instability" in summary.ending.remedy
    assert summary.profile is None


@pytest.mark.parametrize("family", ["own", "encoder"])
def test_a_load_that_pulls_its_motor_to_and_fro_is_no_hunting(bench, family):
    """On a spring of 4 or 5 Hz, without friction of its own: the motor sticks and slips at the
    load's pace with any integral rate, in steps that fade slowly. Half of the integral rate was
    given up for it again and again, down to no result."""
    bench.mount(sample(EVERY_FAMILY[family], {"own": 81000, "encoder": 81009}[family]))
    rehearsal = rehearse(bench, seed={"own": 81000, "encoder": 81009}[family])
    summary = summarise(rehearsal)
    assert summary.outcome == "finished" and summary.profile.lowered_by is None
    at_rest = np.flatnonzero(rehearsal.output("profile_watch"))
    assert np.abs(rehearsal.log.signal("load_speed")[at_rest[-500:]]).max() > 1.0


def test_coulomb_friction_alone_does_not_hunt(bench):
    rehearsal, summary = tuned(bench, sticky(0.3))
    assert summary.profile.lowered_by is None
    assert rehearsal.input("rest_jumps").max() <= 1


@pytest.mark.slow
def test_a_load_that_swings_at_rest_is_named(bench):
    """Nothing holds the load but its spring, and the move has no gentle ramps."""
    machine = load_machine("kiln-shuttle")
    friction = dataclasses.replace(machine.friction, load_coulomb_nm=0.0, load_breakaway_nm=0.0)
    motion = dataclasses.replace(
        machine.motion,
        acceleration_rad_per_s2=1.7 * machine.motion.acceleration_rad_per_s2,
        jerk_rad_per_s3=20.0 * machine.motion.jerk_rad_per_s3,
    )
    rough = dataclasses.replace(machine, friction=friction, motion=motion)
    rehearsal, summary = tuned(bench, rough)
    assert summary.ending.reason == "load_swings_at_rest"
    assert rehearsal.variable("profile_notches").max() == 4
    # With the ramps as described the same load is within its bound.
    _, gentle = tuned(bench, dataclasses.replace(machine, friction=friction))
    assert gentle.outcome == "finished"
    assert 0.5 < gentle.profile.rest_swing_ms <= gentle.profile.bounds_ms[2]


def test_profile_is_that_of_the_simulated_axis(bench):
    """Following error and overshoot as the trial measured them, against the record's signals."""
    machine = load_machine("glaze-gantry")
    rehearsal, summary = tuned(bench, machine)
    watched = np.flatnonzero(rehearsal.output("profile_watch"))
    behind = rehearsal.log.signal("position_reference") - rehearsal.log.signal("position")
    count_rad = 2.0 * np.pi / machine.drive.encoder_counts_per_turn
    farthest = np.abs(behind[watched]).max() - 2.0 * count_rad
    found_ms = summary.profile.following_error_ms
    cruise = machine.motion.cruise_speed_rad_per_s
    assert found_ms == pytest.approx(1e3 * farthest / cruise, abs=0.15)
    assert summary.profile.bounds_ms == (25.0, 10.0, 1.0)


def bounded(constant, value):
    """The complete trial with another bound: bounds are data."""
    text = shipped_trial_path("complete").read_text(encoding="utf-8")
    changed, count = re.subn(rf"(?m)^({constant} = {{ value = )\d+", rf"\g<1>{value}", text)
    assert count == 1
    return trial_from_document(tomllib.loads(changed), "bounded.toml")


@pytest.mark.parametrize(
    ("constant", "value", "reason", "below"),
    [
        pytest.param(
            "profile_error_bound",
            0,
            "profile_not_followed",
            "below_profile_error",
            marks=pytest.mark.slow,
        ),
        pytest.param(
            "profile_overshoot_bound",
            0,
            "profile_overshoots",
            "below_profile_overshoot",
            marks=pytest.mark.slow,
        ),
    ],
)
def test_a_profile_beyond_its_bound_costs_notches_and_is_named(constant, value, reason, below):
    """A hasty gantry is 0.1 ms behind and goes as far past the end: the bounds ask for less."""
    machine = load_machine("glaze-gantry")
    motion = dataclasses.replace(
        machine.motion,
        acceleration_rad_per_s2=4.0 * machine.motion.acceleration_rad_per_s2,
        jerk_rad_per_s3=40.0 * machine.motion.jerk_rad_per_s3,
    )
    hasty = dataclasses.replace(machine, motion=motion)
    rehearsal = rehearse(Bench(bounded(constant, value), hasty), seed=1)
    assert not rehearsal.violations
    rungs = rehearsal.output("position_gain_rung")[
        np.flatnonzero(rehearsal.output("profile_watch"))
    ]
    notches = int(rehearsal.variable("profile_notches").max())
    assert 1 <= notches <= 4 and rungs.min() < rungs.max()
    found = summarise(rehearsal)
    assert found.ending.reason in (reason, below)
    if found.ending.reason == below:
        assert found.stages[2].ended_by in ("followed_too_far", "went_past_end")
