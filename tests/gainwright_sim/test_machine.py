"""Machine descriptions: shipped axes, reduction to a chain, digest, JSON Schema."""

from __future__ import annotations

import math
import tomllib

import jsonschema
import pytest

from gainwright.errors import InputError
from gainwright_sim.machine import (
    Chain,
    load_machine,
    machine_digest,
    machine_from_document,
    shipped_machine_names,
    shipped_machine_path,
)
from gainwright_sim.machine.json_schema import machine_schema
from gainwright_sim.plant.natural import natural_frequencies
from gainwright_sim.theory.stages import SPEED_GAIN

from .descriptions import CHAIN, EDITS, GOOD

SHIPPED = shipped_machine_names()


def test_shipped_axes_are_the_ones_of_the_demonstration_plant_and_the_benchmark():
    assert SHIPPED == (
        "door-hoist", "glaze-gantry", "grinder-slide", "kiln-shuttle", "positioning-bench",
    )  # fmt: skip


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_axis(name):
    machine = load_machine(name)
    text = shipped_machine_path(name).read_text(encoding="utf-8")
    assert machine.name == name
    invented = name != "positioning-bench"
    assert ("# INVENTED" in text) == ("invented" in machine.origin) == invented
    # The trial climbs from the start gain in rungs of about 4 %: the limit must be in reach.
    limit = SPEED_GAIN.limit(machine)
    ratio = limit.gain / machine.speed_loop.start_speed_gain_nms_per_rad
    assert 1.04**20 < ratio < 1.04**110
    assert 100.0 < limit.frequency_hz < 4000.0
    assert SPEED_GAIN.rigid_body_limit(machine).gain >= limit.gain * (1.0 - 1e-9)


@pytest.mark.parametrize(
    ("name", "locked_hz", "free_hz", "stiff"),
    [
        ("grinder-slide", (150, 300), (200, 400), True),
        ("glaze-gantry", (8, 12), (18, 22), False),
        ("kiln-shuttle", (3, 4), (7, 9), False),
    ],
)
def test_natural_frequencies_are_what_the_description_says(name, locked_hz, free_hz, stiff):
    """Above 150 Hz counts as stiff, 3 to 4 Hz is a tall elastic machine: common practice."""
    found = natural_frequencies(load_machine(name).chain)
    assert locked_hz[0] < found.locked_motor_hz < locked_hz[1]
    assert free_hz[0] < found.free_hz < free_hz[1]
    assert found.counts_as_stiff is stiff


def test_natural_frequencies_of_two_masses_are_the_textbook_ones():
    """SOURCES 3.1, case A1: Jm 1e-3, Jl 2e-3, c 1500: fr 238.73 Hz, fa 137.83 Hz."""
    found = natural_frequencies(Chain((1e-3, 2e-3), (1500.0,), (0.05,)))
    assert found.locked_motor_hz == pytest.approx(137.83, abs=0.01)
    assert found.free_hz == pytest.approx(238.73, abs=0.01)


def test_rigid_axis_has_no_natural_frequency_and_counts_as_stiff():
    found = natural_frequencies(load_machine("positioning-bench").chain)
    assert found.locked_motor_hz is None and found.free_hz is None and found.counts_as_stiff
    assert "rigid" in found.in_words()


def test_positioning_bench_has_the_published_parameters():
    """Janot, Gautier, Brunot 2019: 95.1 kg, 203.5 N s/m, 20.4 N, offset -3.2 N in the force."""
    machine = load_machine("positioning-bench")
    per_m = machine.motor_rad_per_load_m
    assert machine.chain.total_inertia_kgm2 * per_m**2 == pytest.approx(95.1, abs=1e-3)
    assert machine.friction.load_viscous_nms_per_rad * per_m**2 == pytest.approx(203.5)
    assert machine.friction.load_coulomb_nm * per_m == pytest.approx(20.4)
    assert machine.friction.constant_load_torque_nm * per_m == pytest.approx(3.2)


def test_hoist_hangs_on_its_brake():
    machine = load_machine("door-hoist")
    assert machine.friction.constant_load_torque_nm < 0.0
    assert machine.brake.holding_torque_nm > -machine.friction.constant_load_torque_nm
    assert machine.speed_loop.integral_time_s > 0.0


def test_the_same_axis_as_belt_and_as_chain_has_one_digest():
    """How and in which layout an axis is written down does not change what it is."""
    belt = load_from(GOOD)
    chain = belt.chain
    friction = belt.friction.load_coulomb_nm
    per_m = belt.motor_rad_per_load_m
    motion = belt.motion
    text = (
        CHAIN[: CHAIN.index("[mechanics]")]
        + f"""
    [motion]
    jerk_rad_per_s3 = {motion.jerk_rad_per_s3!r}
    acceleration_rad_per_s2 = {motion.acceleration_rad_per_s2!r}
    cruise_speed_rad_per_s = {motion.cruise_speed_rad_per_s!r} # a comment
    travel_window_rad = {motion.travel_window_rad!r}
    [mechanics]
    inertias_kgm2 = {list(chain.inertias_kgm2)}
    stiffnesses_nm_per_rad = {list(chain.stiffnesses_nm_per_rad)}
    dampings_nms_per_rad = {list(chain.dampings_nms_per_rad)}
    kind = "chain"
    [friction]
    reflected_load_coulomb_nm = {friction!r}
    """
        + CHAIN[CHAIN.index("[drive]") : CHAIN.index("[motion]")]
    )
    rotary = load_from(text)
    assert (rotary.chain, rotary.friction, rotary.motion) == (chain, belt.friction, motion)
    assert rotary.motor_rad_per_load_m is None and per_m == pytest.approx(125.0)
    # Metres per turn are part of the belt axis only, so the digests differ in that alone.
    assert machine_digest(rotary) != machine_digest(belt)
    assert machine_digest(rotary) == machine_digest(load_from(text.replace("# a comment", "")))
    assert machine_digest(load_from(GOOD.replace('"invented"', '"measured"'))) == (
        machine_digest(belt)
    )
    assert machine_digest(load_from(GOOD.replace("60.0", "60.000001"))) != machine_digest(belt)


def load_from(text: str):
    return machine_from_document(tomllib.loads(text), "text")


def test_rotor_inertia_is_the_motor_alone_even_where_the_axis_is_rigid():
    """A rigid axis is one mass; the nameplate must not turn into knowledge of the load."""
    machine = load_machine("positioning-bench")
    assert machine.drive.rotor_inertia_kgm2 == 5e-5 < 0.3 * machine.chain.motor_inertia_kgm2
    text = CHAIN.replace("[speed_loop]", "rotor_inertia_kgm2 = 4e-4\n[speed_loop]")
    assert load_from(text).drive.rotor_inertia_kgm2 == 4e-4
    assert load_from(CHAIN).drive.rotor_inertia_kgm2 == 1e-3


def test_schema_is_valid_and_accepts_what_ships():
    schema = machine_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for name in SHIPPED:
        validator.validate(tomllib.loads(shipped_machine_path(name).read_text(encoding="utf-8")))
    validator.validate(tomllib.loads(CHAIN))


@pytest.mark.parametrize("case", EDITS, ids=lambda case: case.replace(" ", "-"))
def test_schema_refuses_what_the_checker_refuses_in_a_single_key(case):
    text, old, new, _place, _remedy = EDITS[case]
    document = tomllib.loads(text.replace(old, new))
    refused = not jsonschema.Draft202012Validator(machine_schema()).is_valid(document)
    assert refused == (case not in BEYOND_THE_SCHEMA)


BEYOND_THE_SCHEMA = {
    "not a number", "name with blanks", "empty origin",
    "springs do not fit the masses", "torque limit below rated", "torque limit out of fixed point",
    "moves beyond the torque", "cruise beyond top speed", "rotor heavier than the first mass",
    "elastic without damping", "weight without brake", "brake too weak", "too heavy for the motor",
    "brake weaker than a weight that friction holds", "travel too short for the speed",
    "order that aliases", "pole pairs that alias", "frequency that aliases",
    "amplitude without its order", "gain error without pole pairs", "offset without pole pairs",
    "interpolation error without lines", "more lines than counts", "frequency left out",
    "breakaway below Coulomb", "breakaway without Stribeck speed",
}  # fmt: skip


def test_kinds_reduce_to_the_same_chain_where_they_describe_the_same_parts():
    """A wheel and a screw that move as far per radian are the same axis; a gear divides by i^2."""
    wheel = mechanics('kind = "wheel"\nwheel_radius_m = 0.02\nload_mass_kg = 50.0\n'
                      "drive_stiffness_n_per_m = 1e6")  # fmt: skip
    screw = mechanics(f'kind = "screw"\nscrew_pitch_m = {0.04 * math.pi!r}\nload_mass_kg = 50.0\n'
                      "axial_stiffness_n_per_m = 1e6")  # fmt: skip
    assert screw.inertias_kgm2 == pytest.approx(wheel.inertias_kgm2, rel=1e-14)
    assert screw.stiffnesses_nm_per_rad == pytest.approx(wheel.stiffnesses_nm_per_rad, rel=1e-14)
    gear = mechanics('kind = "gear"\ngear_ratio = 5.0\nload_inertia_kgm2 = 0.5\n'
                     "shaft_stiffness_nm_per_rad = 1e4")  # fmt: skip
    assert gear.inertias_kgm2 == pytest.approx((1e-3, 0.02), rel=1e-14)
    assert gear.stiffnesses_nm_per_rad == pytest.approx((400.0,), rel=1e-14)
    rigid = mechanics('kind = "gear"\ngear_ratio = 5.0\nload_inertia_kgm2 = 0.5')
    assert rigid.inertias_kgm2 == pytest.approx((0.021,), rel=1e-14)


def mechanics(lines: str):
    text = CHAIN[: CHAIN.index("[mechanics]")] + (
        f"[mechanics]\nmotor_inertia_kgm2 = 1e-3\nresonance_damping_ratio = 0.02\n{lines}\n"
    )
    tail = CHAIN[CHAIN.index("[drive]") :].replace("200.0", "25.0")
    return load_from(text + tail).chain


def test_descriptions_that_say_nothing_about_friction_have_none():
    machine = load_from(CHAIN)
    assert machine.friction.motor_coulomb_nm == machine.friction.load_viscous_nms_per_rad == 0.0
    with pytest.raises(InputError):
        load_from(CHAIN.replace("[drive]", "[friction]\nload_coulomb_n = 1.0\n[drive]"))


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_axis_is_as_disturbed_as_real_ones(name):
    """Orders of ripple follow the pole pairs, those of cogging the poles and a number of slots."""
    machine = load_machine(name)
    disturbances, friction = machine.disturbances, machine.friction
    poles = 2 * disturbances.motor_pole_pairs
    assert [sine.order % (3 * poles) for sine in disturbances.torque_ripple] == [0.0] * len(
        disturbances.torque_ripple
    )
    common, slots, pole_order = (int(sine.order) for sine in disturbances.cogging)
    assert pole_order == poles and common == math.lcm(slots, poles)
    assert 1e-3 <= disturbances.current_noise_per_unit <= 1e-2
    assert disturbances.encoder_lines_per_turn >= 1024
    if name != "positioning-bench":
        assert friction.motor_breakaway_nm > friction.motor_coulomb_nm
        assert friction.load_breakaway_nm > friction.load_coulomb_nm
