"""A sticky axis moves at the start gain: integral action, and friction measured on the way."""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import numpy as np
import pytest

from gainwright_sim.machine import Machine
from gainwright_sim.plant.axis import DiscreteAxis
from gainwright_sim.plant.compensation import FrictionCompensation
from gainwright_sim.plant.loop import DriveLoop
from gainwright_sim.plant.move import MoveGenerator
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.theory.stages import SPEED_GAIN

from .fixed_gain import fixed_gain_trial
from .test_rig_loop import PLAIN, changed

RATED_NM = PLAIN.drive.rated_torque_nm
TICKS = 60_000  # 15 s


def sticky(compensation: str, integral_time_s: float, **friction: float) -> Machine:
    """Friction of 20 % of rated torque in all, breakaway 1.5 times that, gain 1/60 of the limit."""
    levels = {
        "motor_coulomb_nm": 0.08 * RATED_NM,
        "load_coulomb_nm": 0.12 * RATED_NM,
        "motor_breakaway_nm": 0.12 * RATED_NM,
        "load_breakaway_nm": 0.18 * RATED_NM,
        "stribeck_speed_rad_per_s": 1.0,
    }
    machine = changed(
        friction=levels | friction, speed_loop={"integral_time_s": integral_time_s},
        motion={"cruise_speed_rad_per_s": 8.0, "acceleration_rad_per_s2": 80.0,
                "jerk_rad_per_s3": 2400.0},
    )  # fmt: skip
    gain = SPEED_GAIN.limit(machine).gain / 60.0
    loop = dataclasses.replace(
        machine.speed_loop,
        start_speed_gain_nms_per_rad=gain,
        hold_gain_per_s=2.0,
        friction_compensation=compensation,
    )
    return dataclasses.replace(machine, speed_loop=loop)


def cruise_shares(machine: Machine) -> list[float]:
    """Return, move by move in the rig, how much of the time at constant reference speed the
    measured mean speed is within a quarter of it."""
    trial = fixed_gain_trial(250, pulse_ticks=30_001)
    rig = Bench(trial, machine, changeable=True).rig(1, exact_ticks=TICKS)
    rig.advance(TICKS)
    log = rig.log()
    cruise = machine.motion.cruise_speed_rad_per_s
    steady = (
        np.abs(np.diff(log.signal("position_reference"), prepend=0.0)) > 0.999 * cruise * 250e-6
    )
    moving = np.abs(np.abs(log.signal("mean_speed")) - cruise) < 0.25 * cruise
    turns = [0, *(np.flatnonzero(np.diff(log.state)) + 1), len(log)]
    parts = [slice(a, b) for a, b in pairwise(turns)]
    return [
        float((steady & moving)[part].sum() / steady[part].sum())
        for part in parts
        if steady[part].sum() > 100
    ]


def test_sticky_axis_cruises_at_a_sixtieth_of_the_limit_in_both_directions():
    shares = cruise_shares(sticky("measured", 0.2))
    assert len(shares) >= 8
    # Breakaway of 30 % lets go late and the axis catches up first: that is not cruising.
    assert min(shares[3:]) > 0.2 and np.median(shares[3:]) > 0.35


def test_without_either_it_does_not_move():
    """The check above is sharp: this is what was once taken for a quiet axis."""
    assert max(cruise_shares(sticky("none", 0.0))) == 0.0


def test_integral_action_alone_moves_it_for_a_part_of_the_way():
    alone, both = (np.median(cruise_shares(sticky(c, 0.2))[3:]) for c in ("none", "measured"))
    assert 0.0 < alone < both - 0.1


def learned(machine: Machine) -> float:
    """Return the friction that the reference loop has measured after some moves."""
    loop, move = DriveLoop(machine, DiscreteAxis(machine)), MoveGenerator(machine)
    target = 0.36 * machine.motion.travel_window_rad
    for _ in range(40_000):
        if move.resting:
            target = -target
        move.tick(target)
        loop.tick(move.position_rad, move.speed_rad_per_s, steady=move.steady)
    return loop._compensation.torque_nm(1e6)


def test_measured_friction_is_coulomb_and_viscous_without_the_weight():
    machine = sticky(
        "measured", 0.2, constant_load_torque_nm=-1.0, motor_viscous_nms_per_rad=0.02,
        stribeck_speed_rad_per_s=0.1,
    )  # fmt: skip
    assert learned(machine) == pytest.approx(0.2 * RATED_NM + 0.02 * 8.0, rel=0.03)


def test_nothing_is_learned_from_a_move_too_short_to_settle():
    machine = sticky("measured", 0.2)
    compensation = FrictionCompensation(machine)
    for direction in (1.0, -1.0):
        for steady in [False] * 1000 + [True] * 100 + [False]:  # 25 ms
            compensation.learn(2.0 * direction, 8.0 * direction, steady)
    assert compensation.lead(8.0, 1.5) == 1.5
    assert compensation.torque_nm(8.0) == 0.0


def measured(down_nm: float, up_nm: float) -> FrictionCompensation:
    compensation = FrictionCompensation(sticky("measured", 0.2))
    for torque_nm, speed in ((down_nm, -8.0), (up_nm, 8.0)):
        for steady in [True] * 1000 + [False]:
            compensation.learn(torque_nm, speed, steady)
    return compensation


def test_as_a_move_sets_in_the_torque_goes_over_from_what_it_was_to_friction_and_weight():
    """Without a step: the integral part is led in proportion to the speed reference."""
    compensation = measured(-2.5, 1.5)  # friction 2, weight -0.5
    integral_nm, torques = 1.7, []
    for reference in np.linspace(0.0, 8.0, 101):
        integral_nm = compensation.lead(reference, integral_nm)
        torques.append(integral_nm + compensation.torque_nm(reference))
    assert torques[0] == pytest.approx(1.7) and torques[-1] == pytest.approx(1.5)
    assert integral_nm == pytest.approx(-0.5) and np.abs(np.diff(torques)).max() < 0.02
    for reference in np.linspace(8.0, 0.0, 101):
        assert compensation.lead(reference, integral_nm) == integral_nm, "only as a move sets in"


def test_change_of_the_speed_gain_carries_the_integral_torque_over():
    """A weight of 2 Nm on the integral part; the gain changes by a quarter at each turn."""
    machine = changed(
        speed_loop={"integral_time_s": 0.03, "start_speed_gain_nms_per_rad": 0.3},
        friction={"constant_load_torque_nm": -2.0},
        drive={"encoder_counts_per_turn": 2**24},
    )
    trial = fixed_gain_trial(250, pulse_ticks=30_001)
    rig = Bench(trial, machine, changeable=True).rig(1, exact_ticks=6000, log_control=True)
    rig.advance(6000)
    log = rig.log()
    torque = log.control[:, 0] * RATED_NM / 2**24
    turns = np.flatnonzero(np.diff(log.state)) + 1
    steps = np.abs(np.diff(torque))[turns - 1]
    assert len(turns) >= 3 and np.median(np.abs(torque[turns])) == pytest.approx(2.0, rel=0.2)
    assert steps[1:].max() < 0.2, "a jump would be a fifth of 2 Nm or more"
