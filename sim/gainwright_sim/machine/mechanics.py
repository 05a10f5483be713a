"""Everyday mechanics reduced to a chain on the motor shaft.

Formulas: gear ratio i (motor turns per output turn) divides inertia, stiffness and damping by i^2;
a wheel of radius r makes J = m r^2; a screw of pitch p makes J = m (p/2 pi)^2 and c = k (p/2 pi)^2;
a belt loop of tensile stiffness EA holds the carriage with k = EA (1/L1 + 1/L2); two masses with a
damped spring have zeta_r = d (1/Jm + 1/Jl) / (2 omega_r). Textbook relations, e.g. Leonhard,
"Control of Electrical Drives"; Merritt, "Hydraulic Control Systems" (cited from memory).
"""

from __future__ import annotations

import math

from gainwright_sim.machine.model import Chain


def through_gear(output_quantity: float, gear_ratio: float) -> float:
    """Reflect an inertia, stiffness or damping of the output shaft to the motor."""
    return output_quantity / (gear_ratio * gear_ratio)


def mass_to_inertia_kgm2(mass_kg: float, radius_m: float) -> float:
    """Inertia of a mass that moves ``radius_m`` per radian."""
    return mass_kg * radius_m * radius_m


def linear_to_rotary(linear_quantity: float, radius_m: float) -> float:
    """Stiffness [N/m] or damping [Ns/m] to [Nm/rad] or [Nms/rad] at ``radius_m`` per radian."""
    return linear_quantity * radius_m * radius_m


def screw_m_per_rad(pitch_m: float) -> float:
    """Travel per radian of a screw that moves ``pitch_m`` per turn."""
    return pitch_m / (2.0 * math.pi)


def belt_loop_stiffness_n_per_m(
    tensile_stiffness_n: float, first_length_m: float, second_length_m: float
) -> float:
    """Stiffness of both spans of a closed belt acting in parallel on the carriage."""
    return tensile_stiffness_n * (1.0 / first_length_m + 1.0 / second_length_m)


def spring_damping_for_ratio(
    motor_inertia_kgm2: float, load_inertia_kgm2: float, stiffness_nm_per_rad: float, ratio: float
) -> float:
    """Damping [Nms/rad] that gives the resonance of two free masses the damping ``ratio``."""
    inverse = 1.0 / motor_inertia_kgm2 + 1.0 / load_inertia_kgm2
    return 2.0 * ratio * math.sqrt(stiffness_nm_per_rad * inverse) / inverse


def rigid_chain(inertia_kgm2: float) -> Chain:
    return Chain((inertia_kgm2,), (), ())


def two_mass_chain(
    motor_inertia_kgm2: float,
    load_inertia_kgm2: float,
    stiffness_nm_per_rad: float,
    resonance_damping_ratio: float,
) -> Chain:
    """Motor and load with one spring, damped by the ratio of its resonance."""
    damping = spring_damping_for_ratio(
        motor_inertia_kgm2, load_inertia_kgm2, stiffness_nm_per_rad, resonance_damping_ratio
    )
    return Chain((motor_inertia_kgm2, load_inertia_kgm2), (stiffness_nm_per_rad,), (damping,))
