"""Other positions and payloads of a description."""

from __future__ import annotations

import copy
import re
import tomllib

import pytest

from gainwright.errors import InputError
from gainwright_sim.machine import (
    load_machine,
    machine_from_document,
    mechanics_in_words,
    shipped_machine_path,
)
from gainwright_sim.machine.model import start_settings
from gainwright_sim.machine.reflect import reflection_lines
from gainwright_sim.machine.situations import machine_at
from gainwright_sim.plant.natural import natural_frequencies
from gainwright_sim.rehearsal.summary import at_place

SHUTTLE = tomllib.loads(shipped_machine_path("kiln-shuttle").read_text(encoding="utf-8"))


def changed(**mechanics):
    document = copy.deepcopy(SHUTTLE)
    document["mechanics"] |= mechanics
    return machine_from_document(document, "belt.toml")


def test_belt_follows_the_position_of_the_carriage():
    """SOURCES 3.1: EA 2 MN, 4 m of belt, 50 kg; at 0.5, 1 and 2 m: 48.124, 36.755, 31.831 Hz."""
    machine = changed(
        belt_tensile_stiffness_n=2e6, belt_first_length_m=2.0, belt_second_length_m=2.0,
        load_mass_kg=50.0, load_mass_range_kg=[50.0, 50.0], positions_m=[-1.5, -1.0, 0.0],
    )  # fmt: skip
    found = [natural_frequencies(place.chain).locked_motor_hz for place in machine.situations[::2]]
    assert found == pytest.approx([48.124, 36.755, 31.831], abs=2e-3)


def test_payload_changes_the_load_and_nothing_else():
    machine = load_machine("kiln-shuttle")
    names = [place.name for place in machine.situations]
    assert names == ["-15 m, 320 kg", "-15 m, 920 kg", "15 m, 320 kg", "15 m, 920 kg"]
    light, heavy = (machine_at(machine, name).chain for name in names[:2])
    assert light.motor_inertia_kgm2 == heavy.motor_inertia_kgm2 == machine.chain.motor_inertia_kgm2
    ratio = heavy.inertias_kgm2[1] / light.inertias_kgm2[1]
    assert ratio == pytest.approx(920.0 / 320.0)
    assert light.stiffnesses_nm_per_rad == heavy.stiffnesses_nm_per_rad


@pytest.mark.parametrize(
    ("mechanics", "place"),
    [
        ({"positions_m": [0.0, 40.0]}, "mechanics.positions_m[1]"),
        ({"positions_m": [-20.0]}, "mechanics.positions_m[0]"),
        ({"positions_m": [0.0, -19.8]}, "mechanics.positions_m[1]"),  # moves go 0.3 m either way
        ({"belt_first_length_m": 0.25, "positions_m": []}, "motion"),
        ({"positions_m": [3.0, 3.0]}, "mechanics.positions_m[1]"),
        ({"load_mass_range_kg": [920.0, 320.0]}, "mechanics.load_mass_range_kg"),
        ({"load_mass_range_kg": [700.0, 920.0]}, "mechanics.load_mass_range_kg"),
        ({"load_mass_range_kg": [620.0]}, "mechanics.load_mass_range_kg"),
    ],
)
def test_what_is_no_position_or_no_range_is_refused(mechanics, place):
    with pytest.raises(InputError) as raised:
        changed(**mechanics)
    assert [problem.place for problem in raised.value.problems] == [place]
    assert raised.value.problems[0].remedy


def test_unknown_situation_names_those_there_are():
    with pytest.raises(InputError, match="15 m, 920 kg"):
        machine_at(load_machine("kiln-shuttle"), "3 m")
    with pytest.raises(InputError, match="add mechanics"):
        machine_at(load_machine("grinder-slide"), "3 m")


def test_a_gain_is_held_against_its_limit_at_each_place():
    """Margins at the torque are the motor's: they hide how near a load loop is to its limit."""
    machine = load_machine("kiln-shuttle")
    settings = {**start_settings(machine), "load_position_gain": 0.24}
    tuned = {"stage": "load_position_gain"}
    shares, decibels = {}, set()
    for place in machine.situations:
        found = at_place(place.name, machine_at(machine, place.name), settings, tuned)
        assert found.situation == place.name and found.margins is not None
        shares[place.name] = found.result_shares["stage"]
        decibels.add(round(found.margins.gain_db, 1))
    assert len(decibels) == 1
    assert max(shares.values()) > 2.5 * min(shares.values())
    assert max(shares, key=shares.get) == "15 m, 920 kg"


@pytest.mark.parametrize("name", ["kiln-shuttle", "grinder-slide", "door-hoist"])
def test_arithmetic_in_words_is_that_of_the_chain(name):
    """Every figure after an equals sign, against the reduced chain."""
    machine = load_machine(name)
    words = " ".join(mechanics_in_words(name))
    found = [float(value) for value in re.findall(r"= ([0-9.e+-]+) (?:kg m2|N m/rad)", words)]
    motor, *load = machine.chain.inertias_kgm2
    wanted = [*load, *machine.chain.stiffnesses_nm_per_rad]
    for value in wanted:
        assert any(one == pytest.approx(value, rel=1e-3) for one in found), (value, words)
    total = float(re.search(r"all of it ([0-9.e+-]+) kg m2", words).group(1))
    assert total == pytest.approx(motor + sum(load), rel=1e-3)


def test_a_chain_is_on_the_motor_shaft_already():
    assert not list(
        reflection_lines(
            {
                "kind": "chain",
                "inertias_kgm2": (1.0,),
                "stiffnesses_nm_per_rad": (),
                "dampings_nms_per_rad": (),
            }
        )
    )
