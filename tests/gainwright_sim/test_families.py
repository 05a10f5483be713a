"""Families of random axes: inside their ranges, seeded, sound machines with a limit to find."""

from __future__ import annotations

import dataclasses
import functools
import math

import numpy as np
import pytest

from gainwright_sim.campaign.families import FAMILIES, OWN, Family, merged
from gainwright_sim.campaign.sampling import SAG_SHARE, sample
from gainwright_sim.machine import load_machine, machine_toml, shipped_machine_names
from gainwright_sim.machine.model import Machine
from gainwright_sim.plant.chain import resonances_hz
from gainwright_sim.theory import sample_axis
from gainwright_sim.theory.stages import SPEED_GAIN

SEEDS = range(60)
AGAIN = 6
NAMES = list(FAMILIES)


@functools.cache
def axes(name: str) -> list[Machine]:
    return [sample(FAMILIES[name], seed) for seed in SEEDS]


def span(values) -> tuple[float, float]:
    return min(values), max(values)


def test_own_family_is_that_of_before():
    assert all(sample(OWN, seed) == sample_axis(seed) for seed in SEEDS)


@pytest.mark.parametrize("name", NAMES)
def test_a_seed_gives_the_same_axis_again_and_another_seed_another(name):
    assert [sample(FAMILIES[name], seed) for seed in SEEDS[:AGAIN]] == axes(name)[:AGAIN]
    assert len(set(axes(name))) == len(SEEDS)


@pytest.mark.parametrize("name", NAMES)
def test_every_axis_has_a_limit_well_above_its_start_gain(name):
    # 16 rungs of 4.5 % are the margin, 127 the whole ladder of the shipped trial.
    for machine in axes(name):
        limit = SPEED_GAIN.limit(machine)
        ratio = limit.gain / machine.speed_loop.start_speed_gain_nms_per_rad
        assert 1.045**17 < ratio < 1.045**127, machine.name
        assert limit.frequency_hz > 0.0


@pytest.mark.parametrize("name", NAMES)
def test_moves_fit_torque_and_window(name):
    for machine in axes(name):
        motion, friction = machine.motion, machine.friction
        needed_nm = (
            machine.chain.total_inertia_kgm2 * motion.acceleration_rad_per_s2
            + friction.motor_coulomb_nm + friction.load_coulomb_nm
            + abs(friction.constant_load_torque_nm)
        )  # fmt: skip
        assert needed_nm < machine.drive.torque_limit_nm
        speed = motion.cruise_speed_rad_per_s
        ramp_s = speed / motion.acceleration_rad_per_s2
        ramp_s += motion.acceleration_rad_per_s2 / motion.jerk_rad_per_s3
        assert 0.732 * motion.travel_window_rad / speed - ramp_s > 0.24, machine.name


def test_same_seed_differs_only_by_what_a_family_replaces():
    own, encoder = sample(OWN, 5), sample(FAMILIES["encoder"], 5)
    assert encoder.chain == own.chain
    assert encoder.friction == own.friction
    drive = dataclasses.replace(
        encoder.drive, encoder_counts_per_turn=own.drive.encoder_counts_per_turn
    )
    assert drive == own.drive
    mixed = sample(FAMILIES["mixed"], 5)
    assert mixed.drive.encoder_counts_per_turn == encoder.drive.encoder_counts_per_turn


def test_timing_and_rates_cover_their_choices():
    drives = [machine.drive for machine in axes("timing")]
    assert {drive.control_tick_s for drive in drives} == {62.5e-6, 125e-6, 250e-6}
    assert {drive.torque_delay_ticks for drive in drives} == {1, 2, 3}
    filters = [drive.speed_filter_time_constant_s for drive in drives]
    low, high = span([value for value in filters if value])
    assert 0.0 in filters
    assert 5e-5 <= low < 2e-4 < 5e-4 < high <= 1e-3
    rates = {round(1.0 / machine.drive.control_tick_s) for machine in axes("rates")}
    assert rates == {1000, 2000, 4000, 8000, 16000}


def test_encoder_covers_12_to_24_bits():
    low, high = span([m.drive.encoder_counts_per_turn for m in axes("encoder")])
    assert (low, high) == (2**12, 2**24)


def test_resonance_has_the_frequency_ratio_and_load_it_says():
    machines = [sample(FAMILIES["resonance"], seed) for seed in range(200)]
    low, high = span([resonances_hz(machine.chain)[0] for machine in machines])
    assert 2.0 <= low < 4.0 < 700.0 < high <= 1500.0
    loads = [
        m.chain.total_inertia_kgm2 / m.chain.motor_inertia_kgm2 - 1.0 for m in machines
    ]  # fmt: skip
    low, high = span(loads)
    assert 0.1 <= low < 0.2 < 15.0 < high <= 20.0
    assert {machine.chain.mass_count for machine in machines} == {2, 3}
    for machine in machines:
        assert 0.0029 < _damping_ratio(machine) < 0.11


def _damping_ratio(machine: Machine) -> float:
    """Of the first resonance, by the eigenvalues of the free chain without friction."""
    chain = machine.chain
    inertia = np.diag(chain.inertias_kgm2)
    size = chain.mass_count
    matrices = []
    for values in (chain.stiffnesses_nm_per_rad, chain.dampings_nms_per_rad):
        matrix = np.zeros((size, size))
        for k, value in enumerate(values):
            matrix[k : k + 2, k : k + 2] += value * np.array([[1.0, -1.0], [-1.0, 1.0]])
        matrices.append(np.linalg.solve(inertia, matrix))
    stiffness, damping = matrices
    state = np.block([[np.zeros((size, size)), np.eye(size)], [-stiffness, -damping]])
    poles = [pole for pole in np.linalg.eigvals(state) if pole.imag > 1.0]
    first = min(poles, key=abs)
    return float(-first.real / abs(first))


def test_friction_reaches_20_percent_on_either_side():
    machines = axes("friction")
    rated = np.array([machine.drive.rated_torque_nm for machine in machines])
    motor = np.array([machine.friction.motor_coulomb_nm for machine in machines]) / rated
    load = np.array([machine.friction.load_coulomb_nm for machine in machines]) / rated
    assert 0.15 < (motor + load).max() <= 0.2
    assert motor.max() > 0.1
    assert load.max() > 0.1
    for machine in machines:
        friction = machine.friction
        assert friction.motor_coulomb_nm <= friction.motor_breakaway_nm
        assert friction.motor_breakaway_nm <= 1.8 * friction.motor_coulomb_nm
        share = friction.stribeck_speed_rad_per_s / machine.motion.cruise_speed_rad_per_s
        assert 0.01 <= share <= 0.2


def test_start_gain_of_motion_is_a_sixtieth_to_a_third_of_the_limit():
    for machine in axes("motion"):
        limit = SPEED_GAIN.limit(machine).gain
        assert 2.99 < limit / machine.speed_loop.start_speed_gain_nms_per_rad < 60.01


def test_weight_is_held_by_the_brake_and_carried_by_the_integral_part():
    for machine in axes("vertical"):
        load_nm = -machine.friction.constant_load_torque_nm
        assert 0.0 < load_nm <= 0.4 * machine.drive.rated_torque_nm
        assert machine.brake is not None
        assert machine.brake.holding_torque_nm > load_nm
        loop = machine.speed_loop
        sag_rad = load_nm * loop.integral_time_s / loop.start_speed_gain_nms_per_rad
        assert 0.0 < sag_rad <= SAG_SHARE * machine.motion.travel_window_rad * 1.0001
    vertical = sum(machine.brake is not None for machine in axes("mixed"))
    assert 15 < vertical < 45


def test_merged_family_has_every_replacement_and_the_last_one_decides():
    first = Family("first", "", coulomb_share=(0.0, 0.1), limit_over_start=(3.0, 4.0))
    second = Family("second", "", coulomb_share=(0.0, 0.2), torque_delay_ticks=(2,))
    both = merged("both", "", first, second)
    assert (both.coulomb_share, both.limit_over_start, both.torque_delay_ticks) == (
        (0.0, 0.2), (3.0, 4.0), (2,),
    )  # fmt: skip
    assert math.isclose(FAMILIES["mixed"].resonance_hz[1], 1500.0)


DRAWN = [sample(family, seed) for family in FAMILIES.values() for seed in range(8)]
SHIPPED = [load_machine(name) for name in shipped_machine_names()]


@pytest.mark.parametrize("machine", [*DRAWN, *SHIPPED], ids=lambda machine: machine.name)
def test_written_description_loads_as_the_same_machine(machine, tmp_path):
    path = tmp_path / "machine.toml"
    path.write_text(machine_toml(machine), encoding="utf-8")
    # Metres along a line are lost, and with them the positions and payloads to judge at.
    same = dataclasses.replace(machine, motor_rad_per_load_m=None, situations=())
    assert load_machine(str(path)) == same


@pytest.mark.parametrize("name", ["disturbed", "mixed"])
def test_disturbances_are_of_the_orders_that_slots_and_poles_give(name):
    # SOURCES: cogging at the least common multiple of slots and poles (Zhu and Howe 2000, IEEE
    # Trans. Energy Convers. 15:407), ripple at 6 per electrical period (Jahns and Soong 1996).
    pumps = 0
    for machine in axes(name):
        source = machine.disturbances
        ripple, cogging = source.torque_ripple[0], source.cogging[0]
        assert ripple.order == 6 * source.motor_pole_pairs
        assert cogging.order % (2 * source.motor_pole_pairs) == 0
        assert 0.002 <= ripple.amplitude <= 0.05
        assert 1e-3 <= source.current_noise_per_unit <= 1e-2
        assert 4 * source.encoder_lines_per_turn <= machine.drive.encoder_counts_per_turn
        pumps += source.external_torque_per_unit > 0.0
    assert 15 < pumps < 45
