"""Disturbances and breakaway friction of a description: what does not fit, and the model."""

from __future__ import annotations

import math
from typing import Any

from gainwright_sim.machine.check import Checker
from gainwright_sim.machine.keys import LONGEST_LIST
from gainwright_sim.machine.model import Disturbances, Harmonic, Machine

SINES = ("torque_ripple", "cogging", "load_passing")
"""Quantities that are given as a list of orders and one of amplitudes."""
COUNTS_PER_LINE = 4
"""Of an encoder without interpolation: edges of two square signals."""


def check_disturbances(checker: Checker) -> None:
    """Report disturbances whose keys do not fit together."""
    values = checker.values.get("disturbances", {})
    for name in SINES:
        _check_sines(checker, name, values)
    for name in ("current_offset_per_unit", "current_gain_error"):
        if values.get(name) and values.get("motor_pole_pairs") == 0:
            _needs(checker, "motor_pole_pairs", name, "a whole number from 1 to 200")
    for name in ("interpolation_first_order", "interpolation_second_order"):
        if values.get(name) and values.get("encoder_lines_per_turn") == 0:
            _needs(checker, "encoder_lines_per_turn", name, "a whole number from 16 to 1048576")
    if values.get("external_torque_per_unit") and values.get("external_frequency_hz") == 0.0:
        _needs(checker, "external_frequency_hz", "external_torque_per_unit", "a number above 0")
    _check_lines(checker, values)


def _needs(checker: Checker, name: str, because: str, expected: str) -> None:
    if not any(problem.place == f"disturbances.{name}" for problem in checker.problems):
        checker.report(f"disturbances.{name}", "nothing", expected,
                       f"add {name}, which {because} needs, or remove {because}")  # fmt: skip


def _check_sines(checker: Checker, name: str, values: dict[str, Any]) -> None:
    orders, amplitudes = values.get(f"{name}_orders"), values.get(f"{name}_per_unit")
    if orders is None or amplitudes is None:
        return
    if len(orders) != len(amplitudes):
        checker.report(
            f"disturbances.{name}_per_unit", f"{len(amplitudes)} amplitudes for {len(orders)} "
            f"orders in {name}_orders", "one amplitude for each order",
            f"give {len(orders)} amplitudes, in the sequence of the orders",
        )  # fmt: skip
    elif len(orders) > LONGEST_LIST:
        checker.report(
            f"disturbances.{name}_orders", f"{len(orders)} orders",
            f"at most {LONGEST_LIST}", "keep those with the largest amplitudes",
        )  # fmt: skip


def _check_lines(checker: Checker, values: dict[str, Any]) -> None:
    counts = checker.values.get("drive", {}).get("encoder_counts_per_turn")
    lines = values.get("encoder_lines_per_turn")
    if lines and counts and counts < COUNTS_PER_LINE * lines:
        checker.report(
            "disturbances.encoder_lines_per_turn", f"{lines} lines, which make at least "
            f"{COUNTS_PER_LINE * lines} counts", f"at most {counts // COUNTS_PER_LINE} lines for "
            f"drive.encoder_counts_per_turn = {counts}",
            "give the lines, not the counts, or correct encoder_counts_per_turn",
        )  # fmt: skip


def check_breakaway(checker: Checker) -> None:
    """Report breakaway friction below Coulomb friction, or without a Stribeck speed."""
    values = checker.values.get("friction", {})
    stribeck = ("stribeck_speed_rad_per_s", "stribeck_speed_m_per_s")
    for coulomb, breakaway in (
        ("motor_coulomb_nm", "motor_breakaway_nm"),
        ("reflected_load_coulomb_nm", "reflected_load_breakaway_nm"),
        ("load_coulomb_n", "load_breakaway_n"),
    ):
        static, moving = values.get(breakaway), values.get(coulomb)
        if not static or moving is None:
            continue
        if static < moving:
            checker.report(
                f"friction.{breakaway}", f"{static:g}, below {coulomb}", f"at least {moving:g}",
                f"correct one of them, or leave {breakaway} out if both are alike",
            )  # fmt: skip
        elif all(values.get(name) is None for name in stribeck):
            checker.report(
                "friction.stribeck_speed_rad_per_s", "nothing", "a number from 1e-06 to 10000",
                f"add stribeck_speed_rad_per_s, since {breakaway} is given",
            )  # fmt: skip


def build_disturbances(values: dict[str, Any]) -> Disturbances:
    """Return the model of a checked table."""
    rest = dict(values)
    sines = {
        name: tuple(
            Harmonic(order, amplitude)
            for order, amplitude in zip(
                rest.pop(f"{name}_orders"), rest.pop(f"{name}_per_unit"), strict=True
            )
        )
        for name in SINES
    }
    return Disturbances(**sines, **rest)


def check_torque_orders(checker: Checker, machine: Machine) -> None:
    """Report torques that change faster than half the control rate at cruise speed.

    Torques are held over a control tick, so that a faster one would show as a slow one that is not
    there. (Errors of the encoder may be faster: a real drive samples them just so.)
    """
    source, rate_hz = machine.disturbances, 1.0 / machine.drive.control_tick_s
    turns_per_s = machine.motion.cruise_speed_rad_per_s / (2.0 * math.pi)
    allowed = 0.5 * rate_hz / turns_per_s
    for name in SINES:
        for number, sine in enumerate(getattr(source, name)):
            if sine.order >= allowed:
                _report_alias(checker, f"{name}_orders[{number}]", sine.order, turns_per_s, rate_hz)
    electrical = 2 * source.motor_pole_pairs
    if (source.current_offset_per_unit or source.current_gain_error) and electrical >= allowed:
        _report_alias(checker, "motor_pole_pairs", electrical, turns_per_s, rate_hz)
    if source.external_frequency_hz >= 0.5 * rate_hz:
        checker.report(
            "disturbances.external_frequency_hz", f"{source.external_frequency_hz:g} Hz",
            f"below half the control rate, {0.5 * rate_hz:g} Hz", "check the value and its unit",
        )  # fmt: skip


def _report_alias(
    checker: Checker, key: str, order: float, turns_per_s: float, rate_hz: float
) -> None:
    checker.report(
        f"disturbances.{key}", f"order {order:g}, which is {order * turns_per_s:.5g} Hz at cruise "
        "speed", f"an order below {0.5 * rate_hz / turns_per_s:.5g}: half the control rate, "
        f"{0.5 * rate_hz:g} Hz", "leave it out, cruise more slowly, or check orders and units",
    )  # fmt: skip
