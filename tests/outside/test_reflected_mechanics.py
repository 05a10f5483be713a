"""Everyday mechanics as a chain on the motor shaft: textbook relations with worked numbers.

Formulas: Leonhard, "Control of Electrical Drives"; Merritt, "Hydraulic Control Systems" (textbook,
cited from memory); the numbers were computed from them.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright_sim.machine import Chain
from gainwright_sim.machine.reduce import reduce_mechanics
from gainwright_sim.plant.chain import (
    anti_resonances_hz,
    continuous_state_space,
    resonances_hz,
)

from ..shared.sampled_plants import output_matrix

TINY = 1e-9
"""Inertia of a motor that the worked numbers leave out."""


def reduced(kind: str, **values: float):
    given = {"kind": kind, "motor_inertia_kgm2": TINY, "gear_ratio": 1.0,
             "resonance_damping_ratio": 0.02} | values  # fmt: skip
    return reduce_mechanics(given).chain


def test_gear_divides_by_the_square_of_its_ratio():
    """J 0.8 kg m2 behind i = 20 is 0.002 kg m2."""
    chain = reduced("gear", gear_ratio=20.0, load_inertia_kgm2=0.8, shaft_stiffness_nm_per_rad=1e5)
    assert chain.inertias_kgm2[1] == pytest.approx(0.002, rel=1e-15)
    assert chain.stiffnesses_nm_per_rad[0] == pytest.approx(1e5 / 400.0, rel=1e-15)


def test_rack_turns_mass_into_inertia():
    """m 200 kg on r 0.05 m behind i = 10 is 0.005 kg m2."""
    chain = reduced(
        "wheel", gear_ratio=10.0, wheel_radius_m=0.05, wheel_inertia_kgm2=0.0, load_mass_kg=200.0,
        drive_stiffness_n_per_m=1e8,
    )  # fmt: skip
    assert chain.inertias_kgm2[1] == pytest.approx(0.005, rel=1e-15)


def test_screw():
    """Pitch 10 mm: 300 kg is 7.59909e-4 kg m2, 2e8 N/m is 506.606 Nm/rad."""
    chain = reduced(
        "screw", screw_pitch_m=0.010, screw_inertia_kgm2=0.0, load_mass_kg=300.0,
        axial_stiffness_n_per_m=2e8,
    )  # fmt: skip
    assert chain.inertias_kgm2[1] == pytest.approx(7.59909e-4, rel=1e-5)
    assert chain.stiffnesses_nm_per_rad[0] == pytest.approx(506.606, rel=1e-5)


@pytest.mark.parametrize(("position_m", "frequency_hz"), [(0.5, 48.124), (1, 36.755), (2, 31.831)])
def test_belt_loop_stiffness_depends_on_the_carriage(position_m, frequency_hz):
    """EA 2 MN, 4 m in all, 50 kg; driving pulley held, so that the anti-resonance is meant."""
    chain = reduced(
        "belt", pulley_radius_m=0.05, pulley_inertia_kgm2=0.0, load_mass_kg=50.0,
        belt_tensile_stiffness_n=2e6, belt_first_length_m=position_m,
        belt_second_length_m=4.0 - position_m,
    )  # fmt: skip
    assert anti_resonances_hz(chain)[0] == pytest.approx(frequency_hz, rel=1e-4)


def test_clamped_column_by_the_tip_mass_rule():
    """Cantilever, EI 8.4e6 N m2, 60 kg/m, 12 m, by the rule of 33/140 of its mass at the tip
    (Rayleigh): 1.4753 Hz, with 300 kg at the tip 0.8868 Hz; here a wheel drive, motor held."""
    stiffness = 3.0 * 8.4e6 / 12.0**3
    beam_kg = 33.0 / 140.0 * 60.0 * 12.0
    for tip_kg, frequency_hz in ((0.0, 1.4753), (300.0, 0.8868)):
        chain = reduced(
            "wheel", wheel_radius_m=0.1, wheel_inertia_kgm2=0.0, load_mass_kg=beam_kg + tip_kg,
            drive_stiffness_n_per_m=stiffness,
        )  # fmt: skip
        assert anti_resonances_hz(chain)[0] == pytest.approx(frequency_hz, rel=1e-4)


def test_two_mass_transfer_function():
    """G = (Jl s^2 + d s + c) / (s (Jm Jl s^2 + (Jm + Jl)(d s + c))), motor torque to speed."""
    jm, jl, c, d = 1e-3, 2e-3, 1500.0, 0.05
    a, b = continuous_state_space(Chain((jm, jl), (c,), (d,)))
    row = output_matrix(2)[1]
    for frequency_hz in (3.0, 137.83, 200.0, 238.73, 2000.0):
        s = 2j * math.pi * frequency_hz
        mine = row @ np.linalg.solve(s * np.eye(4) - a, b[:, 0])
        book = (jl * s**2 + d * s + c) / (s * (jm * jl * s**2 + (jm + jl) * (d * s + c)))
        assert mine == pytest.approx(book, rel=1e-9)


def test_resonance_anti_resonance_and_their_ratio():
    """omega_a = sqrt(c/Jl), omega_r = sqrt(c (1/Jm + 1/Jl)), ratio sqrt(1 + Jl/Jm)."""
    chain = Chain((1e-3, 2e-3), (1500.0,), (0.05,))
    high, low = resonances_hz(chain)[0], anti_resonances_hz(chain)[0]
    assert (high, low) == pytest.approx((238.73, 137.83), abs=5e-3)
    assert high / low == pytest.approx(math.sqrt(3.0), rel=1e-9)


def test_damping_ratio_of_the_resonance():
    """zeta_r = d (1/Jm + 1/Jl) / (2 omega_r): the ratio returns in the eigenvalues."""
    chain = reduced("gear", motor_inertia_kgm2=1e-3, load_inertia_kgm2=2e-3,
                    shaft_stiffness_nm_per_rad=1500.0, resonance_damping_ratio=0.025)  # fmt: skip
    assert chain.dampings_nms_per_rad[0] == pytest.approx(
        0.025 * 2 * 1500.0 / 1500.0, rel=1e-12
    )  # omega_r = sqrt(1500 * 1500) = 1500 rad/s, 1/Jm + 1/Jl = 1500
    eigenvalues = np.linalg.eigvals(continuous_state_space(chain)[0])
    mode = max(eigenvalues, key=lambda value: value.imag)
    assert -mode.real / abs(mode) == pytest.approx(0.025, rel=1e-9)
