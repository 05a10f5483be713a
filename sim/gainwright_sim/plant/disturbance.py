"""Torques that disturb an axis, and the errors of its encoder: the reference for the C rig.

Two current sensors, the third phase from their sum: an offset o of one of them gives a torque error
of (2/sqrt 3) o once per electrical period, a relative gain error g a mean of g/2 and g/sqrt 3 twice
per electrical period (Chung and Sul 1998, IEEE Trans. Ind. Appl. 34:340, cited from memory; the
tests compute it). The current loop makes the measured current follow its command, so that the true
torque has these errors with the sign turned.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from gainwright_sim.machine.model import Harmonic, Machine


class DisturbanceTorques:
    """Torques of one machine, in Nm, as sines over the motor angle and over time."""

    def __init__(self, machine: Machine) -> None:
        source, rated_nm = machine.disturbances, machine.drive.rated_torque_nm
        pairs, gain = source.motor_pole_pairs, source.current_gain_error
        self.ripple = source.torque_ripple
        """Share of the torque."""
        if gain:
            self.ripple = (*self.ripple, Harmonic(2.0 * pairs, -gain / math.sqrt(3.0)))
        self.gain_error = -gain / 2.0
        offset = -2.0 / math.sqrt(3.0) * source.current_offset_per_unit
        self.offset_nm = _scaled((Harmonic(pairs, offset),) if offset else (), rated_nm)
        """Only while there is current."""
        self.cogging_nm = _scaled(source.cogging, rated_nm)
        self.passing_nm = _scaled(source.load_passing, rated_nm)
        self.external_nm = source.external_torque_per_unit * rated_nm
        self.external_turns_per_tick = source.external_frequency_hz * machine.drive.control_tick_s

    @property
    def present(self) -> bool:
        """Whether there is any of them."""
        orders = (*self.ripple, *self.offset_nm, *self.cogging_nm, *self.passing_nm)
        return bool(orders or self.gain_error or self.external_nm)

    def motor_nm(self, angle_rad: float, torque_nm: float) -> float:
        """Return what is added on the motor to a torque at an angle, with torque on."""
        return (
            torque_nm * (self.gain_error + sines(self.ripple, angle_rad))
            + sines(self.cogging_nm, angle_rad)
            + sines(self.offset_nm, angle_rad)
        )

    def load_nm(self, angle_rad: float, ticks: int) -> float:
        """Return what is added on the load; ``ticks`` is the number of this tick, from 1 on."""
        external = math.sin(2.0 * math.pi * self.external_turns_per_tick * ticks)
        return sines(self.passing_nm, angle_rad) + self.external_nm * external


def sines(harmonics: Iterable[Harmonic], angle_rad: float) -> float:
    """Return the sum of the harmonics at an angle of the motor."""
    return sum(one.amplitude * math.sin(one.order * angle_rad) for one in harmonics)


def interpolated_angle(machine: Machine, angle_rad: float) -> float:
    """Return the angle as the encoder's signals show it, before it is counted."""
    source = machine.disturbances
    lines = source.encoder_lines_per_turn
    if lines == 0:
        return angle_rad
    line_rad = 2.0 * math.pi / lines
    return (
        angle_rad
        + source.interpolation_first_order * line_rad * math.sin(lines * angle_rad)
        + source.interpolation_second_order * line_rad * math.sin(2.0 * lines * angle_rad)
    )


def _scaled(harmonics: tuple[Harmonic, ...], factor: float) -> tuple[Harmonic, ...]:
    return tuple(Harmonic(one.order, one.amplitude * factor) for one in harmonics)
