"""An axis whose motor pushes itself off from a base on mounts that give way."""

from __future__ import annotations

import copy
import dataclasses
import math
import tomllib

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from gainwright.errors import InputError
from gainwright_sim.machine import (
    Chain,
    Friction,
    load_machine,
    machine_digest,
    machine_from_document,
    machine_toml,
    shipped_machine_path,
)
from gainwright_sim.machine.base import on_base
from gainwright_sim.machine.model import Base
from gainwright_sim.plant.axis import DiscreteAxis
from gainwright_sim.plant.chain import continuous_state_space
from gainwright_sim.plant.discrete import discretise
from gainwright_sim.plant.loop import DriveLoop
from gainwright_sim.plant.natural import natural_frequencies
from gainwright_sim.theory.stages import STAGE_THEORY

from .test_rig_loop import PLAIN, changed

MOUNTED = Base(inertia_kgm2=8e-3, stiffness_nm_per_rad=120.0, damping_nms_per_rad=0.02)
THREE = Chain((1e-3, 5e-4, 2e-3), (900.0, 300.0), (0.02, 0.01), MOUNTED)
TICK_S = 250e-6


def test_motion_is_that_of_newtons_law_against_the_ground():
    """Motor, load and base written out by hand, integrated numerically; seen from the base."""
    chain = Chain((1e-3, 2e-3), (400.0,), (0.02,), MOUNTED)
    friction = Friction(motor_viscous_nms_per_rad=0.01, load_viscous_nms_per_rad=0.03)
    motor_nm, load_nm = 0.7, -0.2

    def change(_time_s, x):
        (motor, load, base), (v_motor, v_load, v_base) = x[:3], x[3:]
        spring = 400.0 * (motor - load) + 0.02 * (v_motor - v_load)
        on_motor = motor_nm - 0.01 * (v_motor - v_base)
        on_load = load_nm - 0.03 * (v_load - v_base)
        mounts = 120.0 * base + 0.02 * v_base
        forces = on_motor - spring, on_load + spring, -on_motor - on_load - mounts
        return [*x[3:], *(f / j for f, j in zip(forces, (1e-3, 2e-3, 8e-3), strict=True))]

    plant, state = discretise(chain, friction, TICK_S), np.zeros(7)
    for _ in range(2000):
        state = plant.a @ state + plant.motor * motor_nm + plant.load * load_nm
    exact = solve_ivp(change, (0.0, 0.5), np.zeros(6), method="DOP853", rtol=1e-11, atol=1e-13)
    motor, load, base, v_motor, v_load, v_base = exact.y[:, -1]
    found = [motor - base, base, load - base, v_motor - v_base, v_base, v_load - v_base]
    assert state[:6] == pytest.approx(found, rel=1e-7, abs=1e-9)


@pytest.mark.parametrize("hertz", [2.0, 19.5, 60.0, 300.0])
def test_transfer_function_of_a_stiff_axis_in_closed_form(hertz):
    """Motor torque to position seen from the base: 1/(J s2) + 1/(Jb s2 + d s + k)."""
    chain = Chain((1e-3, 2e-3), (1e7,), (0.0,), MOUNTED)
    a, b = continuous_state_space(chain)
    s = 2j * math.pi * hertz
    found = np.linalg.solve(s * np.eye(6) - a, b[:, 0])[0]
    own, base = 3e-3 * s**2, 8e-3 * s**2 + 0.02 * s + 120.0
    assert found == pytest.approx(1.0 / own + 1.0 / base, rel=2e-3)


def energy_j(state, chain):
    """Kinetic energy against the ground, and that of springs and mounts."""
    n, base = chain.mass_count, chain.base
    angles = np.delete(state[: n + 1], 1)
    speeds, of_base = np.delete(state[n + 1 : 2 * n + 2], 1), state[n + 2]
    twists = -np.diff(angles)
    return 0.5 * (
        np.dot(chain.inertias_kgm2, (speeds + of_base) ** 2)
        + base.inertia_kgm2 * of_base**2
        + np.dot(chain.stiffnesses_nm_per_rad, twists**2)
        + base.stiffness_nm_per_rad * state[1] ** 2
    )


def test_energy_is_kept_over_ten_seconds():
    undamped = dataclasses.replace(MOUNTED, damping_nms_per_rad=0.0)
    chain = Chain((1e-3, 5e-4, 2e-3), (900.0, 300.0), (0.0, 0.0), undamped)
    plant, state = discretise(chain, None, TICK_S), np.zeros(9)
    for tick in range(400):
        state = plant.a @ state + plant.command * math.sin(0.05 * tick)
    state[-1] = 0.0
    before = energy_j(state, chain)
    for _ in range(40_000):
        state = plant.a @ state
    assert before > 1e-3
    assert energy_j(state, chain) == pytest.approx(before, rel=1e-6)


def test_torques_inside_leave_the_momentum_at_zero():
    """A base that floats: what the motor pushes goes the one way, the base the other."""
    floating = dataclasses.replace(MOUNTED, stiffness_nm_per_rad=0.0, damping_nms_per_rad=0.0)
    chain = dataclasses.replace(THREE, base=floating)
    plant, state, largest = discretise(chain, None, TICK_S), np.zeros(9), 0.0
    for tick in range(40_000):
        torque = 0.5 * math.sin(0.01 * tick)
        state = plant.a @ state + plant.command * torque - plant.load * 0.3 * torque
        speeds, of_base = np.delete(state[4:8], 1), state[5]
        parts = np.array((*chain.inertias_kgm2, 8e-3)) * np.array((*(speeds + of_base), of_base))
        largest = max(largest, float(np.abs(parts).max()))
        assert abs(parts.sum()) < 1e-6 * largest + 1e-15


def test_a_heavy_base_is_none():
    heavy = Base(1e6, 1e6 * (2 * math.pi * 10.0) ** 2, 0.0)
    free = dataclasses.replace(THREE, base=None)
    on, off = discretise(dataclasses.replace(THREE, base=heavy), None, TICK_S), discretise(
        free, None, TICK_S
    )  # fmt: skip
    keep = [0, 2, 3, 4, 6, 7, 8]
    assert on.a[np.ix_(keep, keep)] == pytest.approx(off.a, abs=1e-7)
    assert on.command[keep] == pytest.approx(off.command, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("setting", ["speed_gain", "position_gain", "load_position_gain"])
def test_exact_limits_are_those_of_the_simulated_loop(setting):
    """A little below its limit the loop decays, a little above it grows."""
    machine = on_base(
        changed(speed_loop={"start_speed_gain_nms_per_rad": 0.2, "integral_time_s": 0.03}), MOUNTED
    )
    limit = STAGE_THEORY[setting].limit(machine)
    assert math.isfinite(limit.gain)
    assert STAGE_THEORY[setting].is_stable(machine, 0.99 * limit.gain)
    assert not STAGE_THEORY[setting].is_stable(machine, 1.01 * limit.gain)
    if setting == "load_position_gain":  # the Python loop closes over the motor only
        return
    swung = [swing(machine, setting, share * limit.gain) for share in (0.97, 1.03)]
    assert swung[0] < 0.96 and swung[1] > 1.04


def swing(machine, setting, gain):
    """Return how much the speed error has grown, the end against the middle, after a blow."""
    loop = DriveLoop(machine, DiscreteAxis(machine), ideal=True)
    if setting == "speed_gain":
        loop.speed_gain_nms_per_rad = gain
    else:
        loop.hold_gain_per_s = gain
    errors = [
        loop.tick(added_torque_nm=0.1 * (k == 0)).speed_error_rad_per_s for k in range(12_000)
    ]
    return np.abs(errors[8_000:]).max() / np.abs(errors[4_000:8_000]).max()


SHUTTLE = tomllib.loads(shipped_machine_path("kiln-shuttle").read_text(encoding="utf-8"))
BASE = {"mass_kg": 4000.0, "natural_frequency_hz": 9.0, "damping_ratio": 0.04}


def described(base, **mechanics):
    document = copy.deepcopy(SHUTTLE)
    document["mechanics"] |= mechanics
    return machine_from_document(document | {"base": base}, "mounted.toml")


def test_description_says_the_base_of_all_situations():
    machine = described(BASE)
    base = machine.chain.base
    per_m2 = machine.motor_rad_per_load_m**2
    assert base.inertia_kgm2 == pytest.approx(4000.0 / per_m2)
    assert math.sqrt(base.stiffness_nm_per_rad / base.inertia_kgm2) == pytest.approx(
        2 * math.pi * 9.0
    )
    assert {place.chain.base for place in machine.situations} == {base}
    found = natural_frequencies(machine.chain)
    loaded = base.inertia_kgm2 + machine.chain.total_inertia_kgm2
    assert found.base_hz == pytest.approx(9.0 * math.sqrt(base.inertia_kgm2 / loaded))
    assert f"its base swings at {found.base_hz:.3g} Hz" in found.in_words()


def test_it_is_written_as_it_was_read_and_counts_in_the_digest():
    machine = described(BASE)
    text = machine_toml(machine)
    again = machine_from_document(tomllib.loads(text), "again.toml")
    assert again.chain == machine.chain
    assert machine_digest(machine) != machine_digest(load_machine("kiln-shuttle"))
    assert "[base]" not in machine_toml(load_machine("kiln-shuttle"))


@pytest.mark.parametrize(
    ("machine", "base", "said"),
    [
        ("positioning-bench", {**BASE, "mass_kg": None, "inertia_kgm2": 1.0}, "under a rigid axis"),
        ("kiln-shuttle", {**BASE, "inertia_kgm2": 1.0}, "mass_kg"),
        ("door-hoist", {**BASE, "mass_kg": 0.0}, "base.mass_kg"),
        ("kiln-shuttle", {"mass_kg": 4000.0, "damping_ratio": 0.1}, "natural_frequency_hz"),
        ("kiln-shuttle", {**BASE, "damping_ratio": 1.5}, "from 0 to 1"),
    ],
)
def test_what_cannot_be_is_refused(machine, base, said):
    document = tomllib.loads(shipped_machine_path(machine).read_text(encoding="utf-8"))
    given = {key: value for key, value in base.items() if value is not None}
    with pytest.raises(InputError) as caught:
        machine_from_document(document | {"base": given}, "mounted.toml")
    assert said in " ".join(str(caught.value).split())


def test_four_masses_leave_no_room_for_a_base():
    document = tomllib.loads(machine_toml(dataclasses.replace(PLAIN, chain=Chain(
        (1e-3, 4e-4, 6e-4, 1e-3), (900.0, 600.0, 300.0), (0.02, 0.01, 0.01)
    ))))  # fmt: skip
    base = {"inertia_kgm2": 1.0, "natural_frequency_hz": 9.0, "damping_ratio": 0.04}
    with pytest.raises(InputError, match="4 masses and a base"):
        machine_from_document(document | {"base": base}, "mounted.toml")
