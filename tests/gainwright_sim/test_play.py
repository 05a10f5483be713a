"""Play and slack: against an integration in continuous time, conservation, and statics."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from gainwright.errors import InputError
from gainwright_sim.machine import Chain, machine_from_document
from gainwright_sim.machine.model import Play
from gainwright_sim.plant.axis import DiscreteAxis
from gainwright_sim.plant.play import excess_nm

from .test_rig_loop import FOUR, PLAIN, TWO
from .test_situations import SHUTTLE, changed

GAP = Play(gap_rad=0.02, gap_stiffness_nm_per_rad=400.0)
SLACK = Play(pretension_nm=0.3, first_nm_per_rad=250.0, second_nm_per_rad=150.0)


def undamped(chain: Chain, play: Play | None = None, tick_s: float = 250e-6):
    drive = dataclasses.replace(PLAIN.drive, control_tick_s=tick_s)
    free = Chain(chain.inertias_kgm2, chain.stiffnesses_nm_per_rad, (0.0,) * (chain.mass_count - 1))
    return dataclasses.replace(PLAIN, chain=free, play=play, drive=drive)


def spring_nm(play: Play, twist: float) -> float:
    """The torque written out anew: play, or two spans that pull and never push."""
    if play.gap_rad:
        half = play.gap_rad / 2
        return 400.0 * (twist - half if twist > half else twist + half if twist < -half else 0.0)
    tight = max(0.0, play.pretension_nm + play.first_nm_per_rad * twist)
    return tight - max(0.0, play.pretension_nm - play.second_nm_per_rad * twist)


@pytest.mark.parametrize("play", [GAP, SLACK], ids=["play", "slack"])
def test_spring_less_its_excess_is_the_spring_that_does_not_hold(play):
    for twist in np.linspace(-0.05, 0.05, 401):
        left = 400.0 * twist - excess_nm(play, twist)
        assert left == pytest.approx(spring_nm(play, twist), abs=1e-12)


@pytest.mark.parametrize("chain", [TWO, FOUR], ids=["two masses", "four masses"])
def test_an_undriven_chain_keeps_energy_and_momentum(chain):
    """10 s, 1e-6."""
    machine = undamped(chain)
    axis, n = DiscreteAxis(machine), chain.mass_count
    axis.state[n] = 3.0
    inertia, stiffness = np.array(chain.inertias_kgm2), np.array(chain.stiffnesses_nm_per_rad)

    def kept():
        speeds, twists = axis.state[n : 2 * n], np.diff(axis.state[:n])
        return inertia @ speeds, 0.5 * (inertia @ speeds**2 + stiffness @ twists**2)

    before = kept()
    for _ in range(40_000):
        axis.advance(0.0)
    assert kept() == pytest.approx(before, rel=1e-6)


@pytest.mark.parametrize("play", [GAP, SLACK], ids=["play", "slack"])
def test_play_keeps_momentum_and_agrees_with_continuous_time(play):
    machine = undamped(TWO, play, tick_s=62.5e-6)
    axis, (motor, load) = DiscreteAxis(machine), TWO.inertias_kgm2
    axis.state[2] = 1.0
    ticks = 3200

    def derivative(_time, x):
        torque = spring_nm(play, x[0] - x[1])
        return [x[2], x[3], -torque / motor, torque / load]

    for _ in range(ticks):
        axis.advance(0.0)
    exact = solve_ivp(
        derivative, (0.0, ticks * 62.5e-6), [0.0, 0.0, 1.0, 0.0], rtol=1e-10, atol=1e-12,
        max_step=1e-4,
    ).y[:, -1]  # fmt: skip
    speeds = axis.state[2:4]
    assert motor * speeds[0] + load * speeds[1] == pytest.approx(motor, rel=1e-9)
    assert axis.state[:4] == pytest.approx(exact, abs=5e-3)


def test_pretension_of_a_description_is_a_torque_on_the_motor():
    machine = changed(belt_pretension_n=500.0)
    metres = 1.0 / machine.motor_rad_per_load_m
    assert machine.play.pretension_nm == pytest.approx(500.0 * metres)
    both = machine.play.first_nm_per_rad + machine.play.second_nm_per_rad
    assert both == pytest.approx(machine.chain.stiffnesses_nm_per_rad[0])


def test_play_in_a_rigid_gear_is_refused():
    document = {**SHUTTLE, "mechanics": {
        "kind": "gear", "motor_inertia_kgm2": 0.01, "load_inertia_kgm2": 1.0, "gear_ratio": 10.0,
        "backlash_rad": 0.001,
    }}  # fmt: skip
    with pytest.raises(InputError, match="backlash_rad"):
        machine_from_document(document, "gear.toml")
