"""Friction of both ends, solved together: the solution, energy, sticking, breakaway, brake."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from gainwright_codegen.host import compile_shared, load_library, read_sources
from gainwright_sim.machine import Chain, Friction, Machine, load_machine
from gainwright_sim.plant.axis import DiscreteAxis
from gainwright_sim.plant.chain import laplacian
from gainwright_sim.plant.discrete import discretise_machine
from gainwright_sim.plant.friction import FrictionPair, Response, response
from gainwright_sim.rig.library import FLAGS, SOURCE_DIRECTORY
from gainwright_sim.rig.names import names_header

from .test_rig_loop import PLAIN, changed

_PROBE = """
#include "rig_friction.h"
void probe_pair(const double *r, const double *ways, const double *levels, double *torques)
{
    const rig_response response = {r[1], 1.0 / r[0], 1.0 / r[2], 1.0 / (r[0] - r[1] * r[1] / r[2])};
    const rig_pair pair
        = rig_friction_pair(&response, ways[0], ways[1], levels[0], levels[1]);
    torques[0] = pair.motor_nm;
    torques[1] = pair.load_nm;
}
double probe_decay(double value)
{
    return rig_decay(value);
}
"""
_CDEF = """
void probe_pair(const double *r, const double *ways, const double *levels, double *torques);
double probe_decay(double value);
"""


@functools.cache
def probe():
    headers = ("rig_friction.h", "rig_math.h", "rig_model.h")
    sources = read_sources(SOURCE_DIRECTORY, *headers) | names_header()
    sources |= {"probe.c": _PROBE.encode()}
    return load_library(compile_shared(sources, FLAGS, name="friction"), _CDEF)


def pair_in_c(r, ways, levels) -> tuple[float, float]:
    ffi, library = probe()
    torques = ffi.new("double[2]")
    library.probe_pair(
        *(ffi.new("double[]", list(map(float, row))) for row in (r, ways, levels)), torques
    )
    return tuple(torques)


def random_pairs(count: int):
    """Yield R (r11, r12, r22), positive definite, free ways and bounds, over many magnitudes."""
    random = np.random.default_rng(11)
    for _ in range(count):
        motor, load = np.exp(random.uniform(-12, 0, 2))
        r = np.array((motor, random.uniform(-0.999, 0.999) * np.sqrt(motor * load), load))
        levels = np.exp(random.uniform(-3, 2, 2))
        ways = random.normal(size=2) * np.array((motor, load)) * levels * 3.0
        yield r, ways, levels


def test_pair_is_the_bounded_least_squares_solution():
    """scipy's lsq_linear on the Cholesky factor has the same optimum; C and Python agree."""
    patterns = set()
    for r, ways, levels in random_pairs(300):
        scale = np.sqrt(r[[0, 2]])  # both masses in units of their own response
        matrix = np.array(((r[0], r[1]), (r[1], r[2]))) / np.outer(scale, scale)
        root = np.linalg.cholesky(matrix)
        found = lsq_linear(
            root.T, -np.linalg.solve(root, ways / scale),
            bounds=(-levels * scale, levels * scale), method="bvls", tol=1e-15,
        )  # fmt: skip
        expected = found.x / scale
        assert pair_in_c(r, ways, levels) == pytest.approx(expected, rel=1e-7, abs=1e-9)
        python = Response(*r).pair(*ways, *levels)
        assert pair_in_c(r, ways, levels) == pytest.approx(python, rel=1e-9)
        patterns.add(tuple(np.sign(expected) * (np.abs(expected) > levels * (1 - 1e-9))))
    assert len(patterns) == 9, "every pattern of sticking and slipping occurred"


def energy(machine: Machine, state) -> float:
    """Kinetic energy, energy of springs and of the constant load, in J."""
    n = machine.chain.mass_count
    angles, speeds = state[:n], state[n : 2 * n]
    springs = angles @ laplacian(machine.chain.stiffnesses_nm_per_rad, n) @ angles
    masses = np.asarray(machine.chain.inertias_kgm2) @ speeds**2
    return 0.5 * (springs + masses) - machine.friction.constant_load_torque_nm * angles[-1]


def random_machine(random: np.random.Generator) -> Machine:
    """One to four masses without damping, resonances from 2 Hz to far above the control rate."""
    n = int(random.integers(1, 5))
    inertias = tuple(np.exp(random.uniform(np.log(1e-4), np.log(1e-2), n)))
    resonances_hz = np.exp(random.uniform(np.log(2.0), np.log(2e4), n - 1))
    stiffnesses = tuple(
        float((2 * np.pi * f) ** 2 / (1 / inertias[k] + 1 / inertias[k + 1]))
        for k, f in enumerate(resonances_hz)
    )
    motor_nm, load_nm = random.uniform(0.0, 3.0, 2)
    friction = Friction(
        motor_coulomb_nm=motor_nm,
        load_coulomb_nm=load_nm,
        motor_breakaway_nm=1.5 * motor_nm,
        load_breakaway_nm=1.5 * load_nm,
        stribeck_speed_rad_per_s=float(np.exp(random.uniform(-3, 1))),
        constant_load_torque_nm=random.uniform(-1.0, 1.0),
    )
    tick_s = float(random.choice((62.5e-6, 125e-6, 250e-6)))
    chain = Chain(inertias, stiffnesses, (0.0,) * (n - 1))
    return changed(
        dataclasses.replace(PLAIN, friction=friction), chain=chain,
        drive={"control_tick_s": tick_s},
    )  # fmt: skip


def largest_growth(machine: Machine, random: np.random.Generator, pair=None) -> float:
    """Return the largest growth of energy in one tick of 200, as a share of the first energy."""
    axis, n = DiscreteAxis(machine), machine.chain.mass_count
    if pair is not None:
        axis._friction._response = pair
    axis.state[:n] = random.normal(size=n) * 1e-3
    axis.state[n : 2 * n] = random.normal(size=n)
    first = before = energy(machine, axis.state)
    offset = abs(machine.friction.constant_load_torque_nm * axis.state[n - 1])
    scale = abs(first) + offset + 1e-6
    growth = -np.inf
    for _ in range(200):
        axis.advance(0.0)
        after = energy(machine, axis.state)
        growth = max(growth, (after - before) / scale)
        before = after
    return growth


def test_friction_never_adds_energy():
    random = np.random.default_rng(5)
    growths = [largest_growth(random_machine(random), random) for _ in range(150)]
    assert max(growths) < 1e-9


class EachByItself:
    """How it was done once: each mass as if the other were not there."""

    def __init__(self, machine: Machine) -> None:
        self._response = response(discretise_machine(machine))

    def pair(self, motor_way, load_way, motor_level_nm, load_level_nm):
        r = self._response
        return (
            min(max(-motor_way / r.motor, -motor_level_nm), motor_level_nm),
            min(max(-load_way / r.load, -load_level_nm), load_level_nm),
        )


@pytest.mark.slow
def test_energy_would_grow_if_each_end_were_solved_by_itself():
    """The check above is sharp."""
    random = np.random.default_rng(5)
    growths = []
    for _ in range(150):
        machine = random_machine(random)
        growths.append(largest_growth(machine, random, EachByItself(machine)))
    assert max(growths) > 1e-3


STIFF = Chain((1e-3, 1e-3), (2e6,), (0.0,))
"""Resonance at 10 kHz, above the control rate of 4 kHz."""


def pushed(torque_nm: float, ticks: int, chain: Chain = STIFF):
    """Return positions of both ends under a constant torque, from rest; friction 2 and 1 Nm."""
    machine = changed(chain=chain, friction={"motor_coulomb_nm": 2.0, "load_coulomb_nm": 1.0})
    axis, n = DiscreteAxis(machine), chain.mass_count
    positions = []
    for _ in range(ticks):
        axis.advance(torque_nm)
        positions.append(axis.state[[0, n - 1]])
    return np.array(positions), axis.state


@pytest.mark.parametrize("chain", [STIFF, Chain((1e-3, 2e-3), (400.0,), (0.02,))])
@pytest.mark.parametrize("torque_nm", [1.9, -1.9, 2.5, 2.9])
def test_pair_that_should_stick_comes_to_rest_and_does_not_creep(chain, torque_nm):
    positions, state = pushed(torque_nm, 4000, chain)
    assert np.all(positions[-2000:] == positions[-1]), "not even by rounding"
    assert np.all(state[2:4] == 0.0)
    spring_nm = chain.stiffnesses_nm_per_rad[0] * (positions[-1, 0] - positions[-1, 1])
    assert abs(spring_nm) <= 1.0 + 1e-6 and abs(torque_nm - spring_nm) <= 2.0 + 1e-6


def test_pair_slides_beyond_the_sum_of_both():
    positions, _ = pushed(3.2, 4000)
    time_s = 4000 * PLAIN.drive.control_tick_s
    assert positions[-1] == pytest.approx(0.5 * (0.2 / 2e-3) * time_s**2, rel=1e-3)


def test_single_mass_stops_in_the_tick_in_which_friction_stops_it():
    machine = changed(chain=Chain((1e-3,), (), ()), friction={"motor_coulomb_nm": 0.5})
    axis = DiscreteAxis(machine)
    axis.state[1] = 1.0  # 0.5 Nm take 2 ms, which is 8 ticks
    speeds = []
    for _ in range(12):
        axis.advance(0.0)
        speeds.append(axis.state[1])
    assert speeds[:7] == pytest.approx([1.0 - 0.125 * (k + 1) for k in range(7)])
    assert speeds[8:] == [0.0] * 4


def test_breakaway_holds_until_it_is_exceeded():
    friction = {
        "motor_coulomb_nm": 1.0, "motor_breakaway_nm": 1.5, "stribeck_speed_rad_per_s": 0.5
    }  # fmt: skip
    machine = changed(chain=Chain((1e-3,), (), ()), friction=friction)
    for torque_nm, moves in ((1.49, False), (1.51, True)):
        axis = DiscreteAxis(machine)
        for _ in range(400):
            axis.advance(torque_nm)
        assert (axis.state[1] > 1.0) == moves
    # Once fast, Coulomb friction alone is against the motion.
    before = axis.state[1]
    axis.advance(1.51)
    assert axis.state[1] - before == pytest.approx(0.51 / 1e-3 * 250e-6, rel=1e-6)


def test_decay_of_the_c_rig_is_the_exponential():
    _, library = probe()
    values = np.linspace(0.0, 45.0, 300)
    found = [library.probe_decay(float(value)) for value in values]
    assert found == pytest.approx(np.exp(-values), abs=1e-6)


@pytest.mark.parametrize("torque_nm", [0.0, 8.0, -8.0])
def test_closed_brake_holds_a_weight_without_creeping(torque_nm):
    """Weight, torque from the drive and noise on it: the motor stays where it is, to the bit."""
    machine = load_machine("door-hoist")
    plant = discretise_machine(machine)
    pair = FrictionPair(machine, plant)
    random = np.random.default_rng(1)
    state = np.zeros(5)
    for _ in range(4000):
        command = torque_nm + random.normal() * 0.1
        free = plant.a @ state + plant.command * command
        free += plant.load * machine.friction.constant_load_torque_nm
        state = pair.step(state, free, machine.brake.holding_torque_nm)
    assert state[0] == 0.0 and state[2] == 0.0
