"""The Python plant: exact discretisation against numerical integration, friction, drive loop."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from scipy.signal import cont2discrete

from gainwright_sim.machine import Chain, Disturbances, Friction, Machine, load_machine
from gainwright_sim.plant.axis import DiscreteAxis
from gainwright_sim.plant.chain import (
    anti_resonances_hz,
    continuous_state_space,
    resonances_hz,
)
from gainwright_sim.plant.discrete import discretise
from gainwright_sim.plant.loop import DriveLoop
from gainwright_sim.theory import sample_axis

from ..shared.continuous_axis import ContinuousAxis
from ..shared.sampled_plants import output_matrix

FOUR = Chain((1e-3, 5e-4, 2e-3, 1e-3), (900.0, 400.0, 2000.0), (0.02, 0.01, 0.05))


def smooth(name: str) -> Machine:
    """Return a shipped machine without disturbances and breakaway friction."""
    machine = dataclasses.replace(load_machine(name), disturbances=Disturbances())
    return changed(machine, friction={"motor_breakaway_nm": 0.0, "load_breakaway_nm": 0.0})


def changed(machine: Machine, **parts: dict) -> Machine:
    """Return the machine with fields of its parts replaced."""
    replaced = {
        name: dataclasses.replace(getattr(machine, name), **values)
        for name, values in parts.items()
    }
    return dataclasses.replace(machine, **replaced)


def test_discretisation_equals_the_one_of_scipy_for_four_masses():
    """scipy.signal.cont2discrete, zero-order hold: the same formula by other hands."""
    friction = Friction(motor_viscous_nms_per_rad=0.01, load_viscous_nms_per_rad=0.02)
    a, b = continuous_state_space(FOUR, friction)
    mine = discretise(FOUR, friction, 1e-3)
    other_a, other_b, *_ = cont2discrete((a, b, output_matrix(4), np.zeros((4, 2))), 1e-3)
    assert mine.a[:-1, :-1] == pytest.approx(other_a, abs=1e-12)
    assert mine.motor[:-1] == pytest.approx(other_b[:, 0], rel=1e-9)
    assert mine.load[:-1] == pytest.approx(other_b[:, 1], rel=1e-9)
    assert mine.command[:-1] == pytest.approx(mine.motor[:-1], rel=1e-15)


def test_moving_the_whole_chain_moves_nothing_else():
    plant = discretise(FOUR, None, 1e-3, 2e-4)
    shift = np.array([1.0] * 4 + [0.0] * 5)
    assert plant.a @ shift == pytest.approx(shift, abs=1e-12)


def test_momentum_of_a_free_chain_grows_by_torque_times_time():
    plant = discretise(FOUR, None, 1e-3)
    state = np.zeros(9)
    for _ in range(100):
        state = plant.a @ state + plant.command * 0.7
    momentum = np.dot(FOUR.inertias_kgm2, state[4:8])
    assert momentum == pytest.approx(0.7 * 0.1, rel=1e-10)


def test_current_loop_lags_by_its_time_constant():
    plant = discretise(Chain((1e-3,), (), ()), None, 1e-4, 1e-4)
    state = plant.command * 1.0
    assert state[-1] == pytest.approx(1.0 - math.exp(-1.0), rel=1e-12)
    # Speed is the integral of the torque over the tick, divided by the inertia.
    assert state[1] == pytest.approx(1e-4 * math.exp(-1.0) / 1e-3, rel=1e-12)


def test_natural_frequencies_of_two_masses():
    """Textbook: omega_a^2 = c/Jl, omega_r^2 = c (1/Jm + 1/Jl)."""
    chain = Chain((1e-3, 2e-3), (1500.0,), (0.05,))
    assert resonances_hz(chain)[0] == pytest.approx(math.sqrt(1500 * 1500) / (2 * math.pi))
    assert anti_resonances_hz(chain)[0] == pytest.approx(math.sqrt(1500 / 2e-3) / (2 * math.pi))
    assert resonances_hz(Chain((1e-3,), (), ())) == anti_resonances_hz(Chain((1e-3,), (), ())) == ()


AXES = {
    "gantry": lambda: smooth("glaze-gantry"),
    "hoist": lambda: smooth("door-hoist"),
    "rigid": lambda: smooth("positioning-bench"),
    "no current loop, speed filter, two ticks of delay": lambda: changed(
        smooth("grinder-slide"),
        drive={
            "current_loop_time_constant_s": 0.0,
            "speed_filter_time_constant_s": 3e-4,
            "torque_delay_ticks": 2,
        },
    ),
}


@pytest.mark.parametrize("axis", AXES)
def test_closed_loop_equals_numerical_integration_without_coulomb_friction(axis):
    """Radau integration of the differential equation, tick by tick: no shared discretisation."""
    machine = changed(AXES[axis](), friction={"motor_coulomb_nm": 0.0, "load_coulomb_nm": 0.0})
    exact, integrated = run_both(machine, ContinuousAxis(machine), ticks=60)
    assert exact == pytest.approx(integrated, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("axis", ["gantry", "rigid"])
def test_closed_loop_with_coulomb_friction_is_close_to_numerical_integration(axis):
    """Held friction differs from tanh friction only in ticks in which the motion reverses."""
    machine = AXES[axis]()
    other = ContinuousAxis(machine, friction_width_rad_per_s=1e-3, relative_tolerance=1e-7)
    exact, integrated = run_both(machine, other, ticks=120)
    speeds = slice(machine.chain.mass_count, 2 * machine.chain.mass_count)
    assert np.abs(integrated[:, speeds]).max() > 0.5
    one_tick_of_friction = machine.drive.control_tick_s * (
        machine.friction.motor_coulomb_nm + machine.friction.load_coulomb_nm
    ) / machine.chain.motor_inertia_kgm2  # fmt: skip
    assert np.abs(exact - integrated)[:, speeds].max() < 3.0 * one_tick_of_friction


def run_both(machine: Machine, other: ContinuousAxis, ticks: int) -> tuple[np.ndarray, np.ndarray]:
    axes = (DiscreteAxis(machine), other)
    history = ([], [])
    for axis, states in zip(axes, history, strict=True):
        loop = DriveLoop(machine, axis, ideal=True)
        for k in range(ticks):
            loop.tick(0.001 * k, added_torque_nm=machine.drive.rated_torque_nm * (-1) ** (k // 25))
            states.append(axis.state.copy())
    return np.array(history[0]), np.array(history[1])


def test_coulomb_friction_sticks_until_it_is_exceeded():
    machine = changed(smooth("positioning-bench"), friction={"constant_load_torque_nm": 0.0})
    level = machine.friction.load_coulomb_nm
    axis = DiscreteAxis(machine)
    for _ in range(200):
        axis.advance(0.99 * level)
    # The torque rises within the first tick while friction is held: a creep far below a count.
    assert abs(axis.state[0]) < 0.1 * 2.0 * math.pi / machine.drive.encoder_counts_per_turn
    assert axis.state[1] == pytest.approx(0.0, abs=1e-15)
    for _ in range(200):
        axis.advance(1.5 * level)
    assert axis.state[1] > 0.1


def test_coulomb_friction_stops_a_mass_and_does_not_push_it_back():
    machine = smooth("glaze-gantry")
    machine = changed(machine, friction={"load_coulomb_nm": 0.0})
    axis = DiscreteAxis(machine)
    axis.state[2:4] = 0.5
    energy = []
    for _ in range(4000):
        axis.advance(0.0)
        energy.append(0.5 * np.dot(machine.chain.inertias_kgm2, axis.state[2:4] ** 2))
    assert axis.state[2] == pytest.approx(0.0, abs=1e-12)
    assert max(energy) <= 0.5 * machine.chain.total_inertia_kgm2 * 0.25


def test_drive_loop_by_hand():
    """Four ticks of a hand calculation: encoder steps, e taken first, limit holds the integral."""
    machine = changed(
        smooth("positioning-bench"),
        drive={"encoder_counts_per_turn": 64, "torque_limit_nm": 3.0, "rated_torque_nm": 1.0},
        speed_loop={"start_speed_gain_nms_per_rad": 0.5, "integral_time_s": 125e-6 * 4},
    )
    machine = changed(machine, speed_loop={"hold_gain_per_s": 10.0})
    axis = FixedAxis([0.0, 0.05, 0.15, 0.21])
    loop = DriveLoop(machine, axis)
    count_rad = 2.0 * math.pi / 64  # 0.0982: the angles read 0, 0, 1, 2 counts
    first = loop.tick(speed_reference_rad_per_s=2.0)
    assert first.torque_command_nm == pytest.approx(0.5 * (2.0 + 0.5))
    second = loop.tick(position_reference_rad=0.1, speed_reference_rad_per_s=0.0)
    assert second.speed_error_rad_per_s == pytest.approx(1.0)
    assert second.torque_command_nm == pytest.approx(0.5 * (1.0 + 0.5 + 0.25))
    third = loop.tick(position_reference_rad=count_rad)
    assert third.speed_rad_per_s == pytest.approx(count_rad / 125e-6)
    assert third.torque_limited and third.torque_command_nm == -3.0
    fourth = loop.tick(
        position_reference_rad=2 * count_rad, speed_reference_rad_per_s=count_rad / 125e-6,
        added_torque_nm=0.125, torque_noise_nm=0.25,
    )  # fmt: skip
    assert fourth.torque_command_nm == pytest.approx(0.5 * 0.75 + 0.125, abs=1e-9)
    # One tick of delay; noise joins what is applied in its tick.
    assert axis.commands == pytest.approx([0.0, 1.25, 0.875, -3.0 + 0.25])


class FixedAxis:
    """Shows given motor angles and notes the commands."""

    def __init__(self, angles_rad: list[float]) -> None:
        self._angles = iter(angles_rad[1:])
        self.state = np.array((angles_rad[0], 0.0, 0.0))
        self.commands: list[float] = []

    def advance(self, command_nm: float) -> None:
        self.commands.append(command_nm)
        self.state = np.array((next(self._angles, 0.0), 0.0, 0.0))


def test_speed_filter_is_an_exponential_of_its_time_constant():
    machine = changed(smooth("positioning-bench"), drive={"speed_filter_time_constant_s": 5e-4})
    loop = DriveLoop(machine, FixedAxis([0.001 * k for k in range(20)]), ideal=True)
    speeds = [loop.tick().speed_rad_per_s for _ in range(20)]
    true = 0.001 / 125e-6
    assert speeds[0] == 0.0
    expected = [true * (1.0 - math.exp(-k * 125e-6 / 5e-4)) for k in range(20)]
    assert speeds == pytest.approx(expected, rel=1e-12)


def test_delay_of_three_ticks_reaches_the_axis_three_ticks_later():
    machine = changed(smooth("positioning-bench"), drive={"torque_delay_ticks": 3})
    axis = FixedAxis([0.0] * 8)
    loop = DriveLoop(machine, axis)
    for k in range(8):
        loop.tick(added_torque_nm=float(k == 0))
    assert axis.commands == [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0]


def test_random_axes_cover_their_ranges_and_repeat():
    axes = [sample_axis(seed) for seed in range(300)]
    assert axes[7] == sample_axis(7)
    counts = [sum(a.chain.mass_count == n for a in axes) for n in (1, 2, 3)]
    assert counts[0] > 30 and counts[1] > 130 and counts[2] > 30
    for axis in axes:
        rotor = axis.drive.rotor_inertia_kgm2
        assert 1e-4 <= rotor <= 1e-2
        assert 0.299 < axis.chain.total_inertia_kgm2 / rotor - 1.0 < 6.001
        assert axis.friction.motor_coulomb_nm + axis.friction.load_coulomb_nm <= (
            0.03 * axis.drive.rated_torque_nm
        )
        if axis.chain.mass_count > 1:
            assert 2.99 < anti_resonances_hz(axis.chain)[0] < 600.1


def test_random_axes_have_the_modal_damping_they_were_drawn_with():
    """Damping of the first resonance from the eigenvalues of the free chain, 0.005 to 0.1."""
    ratios = []
    for seed in range(60):
        chain = sample_axis(seed).chain
        if chain.mass_count > 1:
            a, _ = continuous_state_space(chain)
            first = min((v for v in np.linalg.eigvals(a) if v.imag > 1.0), key=abs)
            ratios.append(-first.real / abs(first))
    assert len(ratios) > 40
    assert min(ratios) > 0.0049 and max(ratios) < 0.101
    assert min(ratios) < 0.007 and max(ratios) > 0.07
