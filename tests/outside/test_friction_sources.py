"""Friction against published models, set-ups and solvers.

Sources: Canudas de Wit, Olsson, Astrom, Lischinsky 1995, IEEE Trans. Autom. Control 40(3):419
(steady friction curve, stick-slip and hunting set-ups; set-ups and values read in a public
reconstruction, the paper from memory); Stewart and Trinkle 1996, Int. J. Numer. Meth. Eng. 39:2673
(time stepping of two bodies, from memory). The paper shows curves only: numbers beside them are
computed with an event-driven two-level model (stick below Fs, slip with Fc + s2 v), or in closed
form. Masses in kg stand for inertias, N for Nm.
"""

from __future__ import annotations

import dataclasses
import math
from itertools import pairwise

import numpy as np
import pytest

from gainwright_sim.machine import Chain, Friction, Machine
from gainwright_sim.plant.axis import DiscreteAxis
from gainwright_sim.plant.friction import FrictionLevel, Response

from ..gainwright_sim.test_rig_loop import PLAIN
from ..shared.cases import cases

AT_ONCE = 1e-9
"""Stribeck speed of a two-level model: static friction for a mass at rest only."""


BOTH_ENDS = Friction(motor_coulomb_nm=2.0, load_coulomb_nm=1.0)


def axis(chain: Chain, friction: Friction, tick_s: float) -> DiscreteAxis:
    drive = dataclasses.replace(PLAIN.drive, control_tick_s=tick_s)
    machine: Machine = dataclasses.replace(PLAIN, chain=chain, friction=friction, drive=drive)
    return DiscreteAxis(machine)


@pytest.mark.parametrize(
    ("speed_m_per_s", "force_n"),
    [(0.5e-3, 1.389600), (1e-3, 1.184340), (2e-3, 1.009958), (5e-3, 1.002), (0.1, 1.04)],
)
def test_steady_friction_curve(speed_m_per_s, force_n):
    """Table I of the paper: Fc 1 N, Fs 1.5 N, vs 1 mm/s, s2 0.4 Ns/m; exact."""
    level = FrictionLevel(1.0, 0.5, 1e-3)
    assert level.at(speed_m_per_s) + 0.4 * speed_m_per_s == pytest.approx(force_n, abs=1e-6)


def stick_slip(viscous: float, periods: int = 4) -> dict[str, float]:
    """Mass of 1 kg on a spring of 2 N/m whose other end moves at 0.1 m/s (fig. 6 of the paper).

    The moving end is a mass so large that nothing slows it down.
    """
    tick_s, speed, stiffness = 1e-3, 0.1, 2.0
    friction = Friction(
        load_coulomb_nm=1.0,
        load_breakaway_nm=1.5,
        stribeck_speed_rad_per_s=AT_ONCE,
        load_viscous_nms_per_rad=viscous,
    )
    moved = axis(Chain((1e9, 1.0), (stiffness,), (0.0,)), friction, tick_s)
    moved.state[2] = speed
    lines = []
    while len(lines) < 8.0 * periods / tick_s:
        moved.advance(0.0)
        lines.append((moved.state[3], stiffness * (moved.state[0] - moved.state[1])))
    speeds, spring = np.array(lines).T
    slips = speeds > 0.0
    starts = np.flatnonzero(~slips[:-1] & slips[1:])
    stops = np.flatnonzero(slips[:-1] & ~slips[1:])
    last = stops[stops > starts[-2]][0]
    return {
        "period": (starts[-1] - starts[-2]) * tick_s,
        "slip": (last - starts[-2]) * tick_s,
        "peak": float(speeds.max()),
        "restick": float(spring[last + 1]),
        "breakaway": float(spring[starts[-1]]),
    }


def test_stick_slip_with_viscous_friction():
    """Two-level model with s2 = 0.4 Ns/m."""
    found = stick_slip(viscous=0.4)
    expected = {
        "period": 6.45393, "slip": 2.81374, "peak": 0.37682, "restick": 0.77196, "breakaway": 1.5,
    }  # fmt: skip
    assert found == pytest.approx(expected, rel=2e-3)


def test_stick_slip_in_closed_form():
    """Without viscous friction: slip (pi + 2 psi)/w, stick 2 (Fs - Fc)/(k V)."""
    root, psi = math.sqrt(2.0), math.atan(2.0 * 0.1 / (0.5 * math.sqrt(2.0)))
    slip, stick = (math.pi + 2.0 * psi) / root, 2.0 * 0.5 / (2.0 * 0.1)
    peak = 0.1 + math.sqrt(0.01 + (0.5 * root / 2.0) ** 2)
    assert (slip, slip + stick, peak) == pytest.approx((2.611259, 7.611259, 0.467423), abs=1e-6)
    found = stick_slip(viscous=0.0)
    assert found["slip"] == pytest.approx(slip, rel=2e-3)
    assert found["period"] == pytest.approx(slip + stick, rel=2e-3)
    assert found["peak"] == pytest.approx(peak, rel=2e-3)


def hunting(
    static_n: float, time_s: float, tick_s: float = 2e-3
) -> tuple[list[float], list[float]]:
    """PID control, s2 = 0.4 Ns/m (fig. 8): u = -6 v - 3 (x - 1) - 4 integral of (x - 1).

    Returns the errors at rest and the times at which the mass came to rest.
    """
    friction = Friction(
        motor_coulomb_nm=1.0,
        motor_breakaway_nm=static_n,
        stribeck_speed_rad_per_s=AT_ONCE,
        motor_viscous_nms_per_rad=0.4,
    )
    moved = axis(Chain((1.0,), (), ()), friction, tick_s)
    integral, moving, errors, times = 0.0, False, [], []
    for tick in range(round(time_s / tick_s)):
        error = moved.state[0] - 1.0
        integral += error * tick_s
        moved.advance(-6.0 * moved.state[1] - 3.0 * error - 4.0 * integral)
        if moving and moved.state[1] == 0.0:
            errors.append(float(error))
            times.append(tick * tick_s)
        moving = moved.state[1] != 0.0
    return errors, times


@pytest.mark.parametrize(("static_n", "period_s"), cases([(1.5, 24.013)], slow=[(2.0, 16.397)]))
def test_hunting_of_a_pid_loop_with_static_friction(static_n, period_s):
    """Two-level model: rests at 0.131306 (Fs - Fc) on either side, a cycle of two moves."""
    rests, periods = [], []
    for tick_s in (4e-3, 2e-3):
        errors, times = hunting(static_n, 6.0 * period_s, tick_s)
        assert errors[-1] * errors[-2] < 0.0
        rests.append(abs(errors[-1]))
        periods.append(times[-1] - times[-3])
    # The controller is sampled: its error goes with the tick, so that two ticks tell the limit.
    assert 2.0 * rests[1] - rests[0] == pytest.approx(0.131306 * (static_n - 1.0), rel=0.005)
    assert 2.0 * periods[1] - periods[0] == pytest.approx(period_s, rel=0.005)


@pytest.mark.slow
def test_no_hunting_where_static_friction_is_coulomb_friction():
    """Each rest error is 0.4586 of the last: convergence through ever smaller moves."""
    errors, _ = hunting(1.0, 200.0)
    ratios = [abs(b / a) for a, b in pairwise(errors[1:5])]
    assert ratios == pytest.approx([0.4586] * 3, rel=0.03)


CASES = (
    # u N, spring force at the start N, speeds after the step m/s, friction N
    (1.9, 0.0, (0.0, 0.0), (-1.9, 0.0)),
    (2.5, 0.0, (2.5e-4, 0.0), (-2.0, -0.25)),
    (2.5, 0.7, (0.0, 0.0), (-1.8, -0.7)),
    (3.2, 0.0, (6e-4, 0.0), (-2.0, -0.6)),
    (3.2, 1.2, (6.6666666667e-5, 1.33333333333e-4), (-2.0, -1.0)),
)


@pytest.mark.parametrize(("drive_n", "spring_n", "speeds", "frictions"), CASES)
def test_one_step_of_two_bodies_on_a_stiff_spring(drive_n, spring_n, speeds, frictions):
    """m 1 and 1 kg, k 1e6 N/m, 1 ms, friction 2 and 1 N: A v = b + l, A = M + h2 k [1 -1; -1 1].

    scipy's lsq_linear, quadprog and trying all nine patterns agree on these to 1e-15.
    """
    step_s, stiffness = 1e-3, 1e6
    coupled = step_s**2 * stiffness * np.array(((1.0, -1.0), (-1.0, 1.0)))
    inverse = np.linalg.inv(np.eye(2) + coupled)
    free = inverse @ (step_s * np.array((drive_n - spring_n, spring_n)))
    answer = Response(inverse[0, 0], inverse[0, 1], inverse[1, 1])
    impulses = np.array(answer.pair(*free, 2.0 * step_s, 1.0 * step_s))
    assert free + inverse @ impulses == pytest.approx(speeds, abs=1e-9)
    assert impulses / step_s == pytest.approx(frictions, abs=1e-6)


@pytest.mark.parametrize("drive_n", [1.9, 2.5, 2.9])
def test_two_bodies_stick_within_the_published_interval(drive_n):
    """At rest, the spring force is within [max(u - F1, -F2), min(u + F1, F2)]; history decides."""
    two = axis(Chain((1.0, 1.0), (1e6,), (0.0,)), BOTH_ENDS, 1e-3)
    for _ in range(4000):
        two.advance(drive_n)
    assert np.all(two.state[2:4] == 0.0)
    spring_n = 1e6 * (two.state[0] - two.state[1])
    assert max(drive_n - 2.0, -1.0) - 1e-6 <= spring_n <= min(drive_n + 2.0, 1.0) + 1e-6


def test_two_bodies_slide_beyond_it():
    """3.2 N against 3 N: 0.1 m/s2, and a spring force of F2 + m2 a = 1.1 N on average."""
    two = axis(
        Chain((1.0, 1.0), (1e6,), (20.0,)),
        BOTH_ENDS,
        1e-3,
    )
    springs = []
    for _ in range(5000):
        two.advance(3.2)
        springs.append(1e6 * (two.state[0] - two.state[1]))
    assert two.state[2:4] == pytest.approx((0.5, 0.5), rel=5e-3)
    assert np.mean(springs[-2000:]) == pytest.approx(1.1, rel=1e-3)
