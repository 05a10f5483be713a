"""Limits of integral part and position loop, and margins: against closed forms and each other."""

from __future__ import annotations

import dataclasses
import math

import control
import numpy as np
import pytest

from gainwright.detector.timing import lag_time_s
from gainwright.stage_kind import INTEGRAL_TOP, STAGE_KINDS
from gainwright_sim.machine import Chain, load_machine
from gainwright_sim.plant.mounting import mounting_map
from gainwright_sim.plant.natural import natural_frequencies
from gainwright_sim.rig.axis import axis_data
from gainwright_sim.theory import LoopTiming, position_loop, sample_axis, speed_loop
from gainwright_sim.theory.closed_loop import integral_loop, machine_loop
from gainwright_sim.theory.limit import UnstableAtStartError, stability_limit
from gainwright_sim.theory.margins import margins
from gainwright_sim.theory.stages import STAGE_THEORY

RIGID = Chain((1e-3,), (), ())
TWO = Chain((1e-3, 2e-3), (1500.0,), (0.05,))
TS = 250e-6


@pytest.mark.parametrize("share", [0.2, 0.33, 0.5, 0.8])
def test_integral_limit_of_the_rigid_axis(share):
    """SOURCES 3.3, d = 1, true speed: Ku = (J/Ts)(1 - Ts/Tn), cos theta = (1 + Ts/Tn)/2."""
    timing = LoopTiming(TS, 1, speed_source="sensor")
    limit = stability_limit(integral_loop(RIGID, None, timing, share * 1e-3 / TS), 1.0, 4.0 / TS)
    assert limit.gain * TS == pytest.approx(1.0 - share, rel=1e-9)
    angle = 2.0 * math.pi * limit.frequency_hz * TS
    assert math.cos(angle) == pytest.approx((1.0 + limit.gain * TS) / 2.0, rel=1e-9)


@pytest.mark.parametrize("source", ["motor", "load"])
@pytest.mark.parametrize("late", [0, 3])
def test_the_three_loops_are_one_loop(source, late):
    """The same three gains give the same eigenvalues, whichever of them is the variable."""
    timing = LoopTiming(TS, 2, 1e-4, 1e-3, integral_time_s=0.02, load_sensor_delay_ticks=late)
    by_speed = speed_loop(TWO, None, timing, 3.0, source).matrix(0.4)
    by_rate = integral_loop(TWO, None, timing, 0.4, 3.0, source).matrix(50.0)
    by_position = position_loop(TWO, None, timing, 0.4, source).matrix(3.0)
    first, *others = (np.poly(matrix) for matrix in (by_speed, by_rate, by_position))
    for other in others:
        assert other == pytest.approx(first, abs=1e-9)


@pytest.mark.parametrize("late", [1, 4, 16])
def test_late_load_sensor_turns_the_open_loop_by_its_delay(late):
    """At the limit with a delay of n ticks, the loop without it times z^-n is -1."""
    timing = LoopTiming(TS, 1, speed_source="sensor", integral_time_s=0.02)
    slow = dataclasses.replace(timing, load_sensor_delay_ticks=late)
    limit = stability_limit(position_loop(TWO, None, slow, 0.4, "load"), 0.1, 1e4)
    prompt = position_loop(TWO, None, timing, 0.4, "load")
    z = np.exp(2j * math.pi * limit.frequency_hz * TS)
    size = len(prompt.base)
    open_loop = -prompt.feedback @ np.linalg.solve(z * np.eye(size) - prompt.base, prompt.injection)
    assert limit.gain * open_loop * z**-late == pytest.approx(-1.0, abs=1e-6)


@pytest.mark.parametrize("late", [0, 4])
def test_a_bracket_of_the_load_sensor_is_in_the_loop(late):
    """At the limit, the loop of a rigid bracket times the bracket's own answer is -1."""
    timing = LoopTiming(
        TS, 1, speed_source="sensor", integral_time_s=0.02, load_sensor_delay_ticks=late
    )
    soft = dataclasses.replace(timing, load_mounting_hz=90.0, load_mounting_damping_ratio=0.1)
    limit = stability_limit(position_loop(TWO, None, soft, 0.4, "load"), 0.1, 1e4)
    rigid = position_loop(TWO, None, timing, 0.4, "load")
    assert limit.gain != pytest.approx(stability_limit(rigid, 0.1, 1e4).gain, rel=1e-3)
    z = np.exp(2j * math.pi * limit.frequency_hz * TS)
    size = len(rigid.base)
    open_loop = -rigid.feedback @ np.linalg.solve(z * np.eye(size) - rigid.base, rigid.injection)
    step, moved = mounting_map(90.0, 0.1, TS)
    head = np.linalg.solve(z * np.eye(2) - step, moved)[0]
    assert limit.gain * open_loop * head == pytest.approx(-1.0, abs=1e-6)


@pytest.mark.parametrize("hertz", [0.5, 3.5, 20.0, 40.0])
def test_a_bracket_answers_as_a_moved_foot_does(hertz):
    """(2 z w s + w^2) / (s^2 + 2 z w s + w^2), as the position is held half a tick late."""
    step, moved = mounting_map(30.0, 0.05, TS)
    s, omega = 2j * math.pi * hertz, 2.0 * math.pi * 30.0
    exact = (0.1 * omega * s + omega**2) / (s * s + 0.1 * omega * s + omega**2)
    found = np.linalg.solve(np.exp(s * TS) * np.eye(2) - step, moved)[0] * np.exp(s * TS / 2.0)
    assert found == pytest.approx(exact, rel=2e-3)


@pytest.mark.parametrize(
    ("a", "phase_deg", "peak"), [(2.0, 36.870, 1.6823), (3.0, 53.130, None), (4.0, 61.928, None)]
)
def test_margins_of_the_symmetric_optimum(a, phase_deg, peak):
    """SOURCES 2.1, 2.2: Tn = a^2 Ts, Kp = J/(a Ts): PM = asin((a^2 - 1)/(a^2 + 1)), Ms 1.6823.

    Continuous theory: here the sum of small lags is the current loop, sampled 4000 times in it.
    """
    lag_s = 10e-3
    timing = LoopTiming(
        lag_s / 4000, 0, lag_s, speed_source="sensor", integral_time_s=a * a * lag_s
    )
    found = margins(speed_loop(RIGID, None, timing), 1e-3 / (a * lag_s))
    assert found.phase_deg == pytest.approx(phase_deg, abs=0.02)
    if peak is not None:
        assert found.peak_sensitivity == pytest.approx(peak, rel=1e-3)


@pytest.mark.parametrize("name", ["grinder-slide", "glaze-gantry", "kiln-shuttle", "door-hoist"])
def test_margins_agree_with_python_control(name):
    """All three gains in place; the gain margin is also the distance to the exact limit."""
    machine = load_machine(name)
    gain = 0.33 * STAGE_THEORY["speed_gain"].limit(machine).gain
    held = {"integral_rate": 200.0, "position_gain": 100.0}
    loop = machine_loop(machine, "speed_gain", held)
    found = margins(loop, gain)
    column = loop.injection[:, None]
    system = control.ss(loop.base, column, -gain * loop.feedback[None, :], 0.0, loop.tick_s)
    # Near z = 1 its polynomials are ill conditioned and show crossings that are not there, so that
    # its margins are read from frequency responses.
    grid = np.geomspace(1.0, 0.999 * math.pi / loop.tick_s, 4_000)
    seen = control.frequency_response(system, grid)
    response = control.frd(seen.frdata, grid, smooth=True)
    gains, phases, _, at, *_ = control.stability_margins(response, returnall=True)
    rising = [g for g, w in zip(gains, at, strict=True) if g > 1.0]
    assert found.gain_db == pytest.approx(20.0 * math.log10(min(rising)), abs=1e-3)
    assert found.phase_deg == pytest.approx(np.abs(phases).min(), abs=1e-2)
    limit = stability_limit(loop, gain, 100.0 * gain)
    assert found.gain_db == pytest.approx(20.0 * math.log10(limit.gain / gain), abs=1e-6)


def test_peak_sensitivity_bounds_the_margins():
    """SOURCES 2.4: gain margin >= Ms/(Ms - 1), phase margin >= 2 asin(1/(2 Ms))."""
    machine = load_machine("kiln-shuttle")
    limit = STAGE_THEORY["speed_gain"].limit(machine).gain
    loop = machine_loop(machine, "speed_gain")
    for share in (0.2, 0.33, 0.5, 0.7):
        found = margins(loop, share * limit)
        peak = found.peak_sensitivity
        assert found.gain_db >= 20.0 * math.log10(peak / (peak - 1.0)) - 1e-9
        assert found.phase_deg >= 2.0 * math.degrees(math.asin(0.5 / peak)) - 1e-6


def tuned_shuttle():
    """kiln-shuttle with its speed loop at a third of the limits."""
    machine = load_machine("kiln-shuttle")
    gain = 0.33 * STAGE_THEORY["speed_gain"].limit(machine).gain
    return machine, {"speed_gain": gain, "integral_rate": 200}


def test_load_side_limit_lies_at_the_locked_motor_frequency():
    """And is twice the damping of that frequency, Kv = 2 zeta omega (Merritt 1967, SOURCES 2.3)."""
    machine, held = tuned_shuttle()
    limit = STAGE_THEORY["load_position_gain"].limit(machine, held)
    locked_hz = natural_frequencies(machine.chain).locked_motor_hz
    assert limit.frequency_hz == pytest.approx(locked_hz, rel=0.01)
    assert limit.gain < 1.0
    # zeta of the load alone on its spring: the spring's damper and the load's own friction.
    chain, friction = machine.chain, machine.friction
    damping = chain.dampings_nms_per_rad[0] + friction.load_viscous_nms_per_rad
    assert limit.gain == pytest.approx(damping / chain.inertias_kgm2[1], rel=0.1)


def test_decay_on_the_load_side_falls_on_a_straight_line():
    """decay = own decay x (1 - Kv / limit): two low gains give the limit without crossing it."""
    machine, held = tuned_shuttle()
    limit = STAGE_THEORY["load_position_gain"].limit(machine, held)
    loop = machine_loop(machine, "load_position_gain", held)

    def decay(share: float) -> float:
        values = np.linalg.eigvals(loop.matrix(share * limit.gain))
        swinging = [v for v in values if 3.0 < np.angle(v) / (2 * math.pi * loop.tick_s) < 4.0]
        return float(-math.log(abs(swinging[0])) / loop.tick_s)

    own = decay(1e-6)
    for share in (0.1, 0.3, 0.5, 0.7, 0.9):
        assert decay(share) == pytest.approx(own * (1.0 - share), abs=0.01 * own)
    slope = (decay(0.05) - decay(0.15)) / 0.1
    assert decay(0.05) / slope + 0.05 == pytest.approx(1.0, abs=0.01)


def test_integral_part_cannot_oscillate_below_its_band():
    """Passive axes, no position loop: every limit below the ladder's top lies in the band."""
    kind, inside = STAGE_KINDS["integral_rate"], 0
    for seed in range(60):
        machine = sample_axis(seed)
        loop = dataclasses.replace(machine.speed_loop, hold_gain_per_s=0.0)
        machine = dataclasses.replace(machine, speed_loop=loop)
        timing = axis_data(machine).timing
        gain = 0.33 * STAGE_THEORY["speed_gain"].limit(machine).gain
        try:
            limit = STAGE_THEORY["integral_rate"].limit(machine, {"speed_gain": gain})
        except UnstableAtStartError:
            continue
        if limit.gain <= INTEGRAL_TOP / lag_time_s(timing):
            inside += 1
            assert limit.frequency_hz >= kind.lowest_oscillation_hz(timing), seed
    assert inside > 40
