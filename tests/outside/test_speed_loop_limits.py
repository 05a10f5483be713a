"""Limits of the sampled speed and position loop: closed forms, and fully specified cases.

The closed forms of the rigid axis follow from the phase condition or from Jury's criterion. The
cases were computed for this project by eigenvalues and, apart from R2d, by the gain margin in
python-control; no publication holds them. Here they are checked by all three ways: eigenvalues,
gain margin, and simulation of the drive loop in time.
"""

from __future__ import annotations

import dataclasses
import math

import control
import numpy as np
import pytest

from gainwright_sim.machine import Chain, Disturbances, Friction, load_machine
from gainwright_sim.plant.axis import DiscreteAxis
from gainwright_sim.plant.chain import continuous_state_space
from gainwright_sim.theory import LoopTiming, position_loop, speed_loop, stability_limit

from ..shared.sampled_plants import output_matrix
from .loop_cases import CASES, PLANT_C, RIGID, Case

J = 1e-3
TS = 250e-6


def limit_of(chain: Chain, timing: LoopTiming, friction: Friction | None = None):
    return stability_limit(speed_loop(chain, friction, timing), 1e-3, 1e3)


@pytest.mark.parametrize(
    ("delay", "true_speed", "difference"),
    [(0, 2.0, 2.0), (1, 1.0, 0.828427), (2, 0.618034, 0.535898), (3, 0.445042, 0.397825)],
)
def test_rigid_axis_with_p_control(delay, true_speed, difference):
    """theta = pi/(2d+1), k = 2 sin(pi/(2(2d+1))); difference: pi/(2(d+1)), 2 tan(pi/(4(d+1)))."""
    true = limit_of(RIGID, LoopTiming(TS, delay, speed_source="sensor"))
    assert true.gain * TS / J == pytest.approx(true_speed, rel=1e-6)
    closed_form = 2.0 * math.sin(math.pi / (2 * (2 * delay + 1)))
    assert true.gain * TS / J == pytest.approx(closed_form, rel=1e-11)
    assert true.frequency_hz == pytest.approx(0.5 / ((2 * delay + 1) * TS), rel=1e-6)
    step = limit_of(RIGID, LoopTiming(TS, delay))
    assert step.gain * TS / J == pytest.approx(difference, rel=1e-6)
    closed_form = 2.0 * math.tan(math.pi / (4 * (delay + 1)))
    assert step.gain * TS / J == pytest.approx(closed_form, rel=1e-11)
    assert step.frequency_hz == pytest.approx(0.25 / ((delay + 1) * TS), rel=1e-6)


@pytest.mark.parametrize("integral_time_s", [0.005, 0.01, 0.1])
def test_rigid_axis_with_pi_control(integral_time_s):
    """d = 1: Ku = (J/Ts)(1 - alpha), cos theta = (1 + alpha)/2; d = 0: (J/Ts) 4/(2 + alpha), pi."""
    alpha = TS / integral_time_s
    timing = LoopTiming(TS, 1, speed_source="sensor", integral_time_s=integral_time_s)
    one = limit_of(RIGID, timing)
    assert one.gain == pytest.approx(J / TS * (1.0 - alpha), rel=1e-10)
    angle = 2.0 * math.pi * one.frequency_hz * TS
    assert math.cos(angle) == pytest.approx((1.0 + alpha) / 2.0, rel=1e-9)
    none = limit_of(RIGID, dataclasses.replace(timing, torque_delay_ticks=0))
    assert none.gain == pytest.approx(J / TS * 4.0 / (2.0 + alpha), rel=1e-10)
    assert none.frequency_hz == pytest.approx(0.5 / TS, rel=1e-9)


@pytest.mark.parametrize(
    ("k", "samples"), [(1.02, 232.55), (1.05, 94.39), (1.1, 48.32), (1.2, 25.26), (0.5, -6.64)]
)
def test_growth_beyond_the_limit_of_the_rigid_axis(k, samples):
    """d = 1, P, true speed: |z| = sqrt(k), cos theta = 1/(2 sqrt(k)); samples per decade."""
    loop = speed_loop(RIGID, None, LoopTiming(TS, 1, speed_source="sensor"))
    value = loop.dominant_eigenvalue(k * J / TS)
    assert abs(value) == pytest.approx(math.sqrt(k), rel=1e-9)
    assert math.cos(np.angle(value)) == pytest.approx(1.0 / (2.0 * math.sqrt(k)), rel=1e-9)
    assert math.log(10.0) / math.log(abs(value)) == pytest.approx(samples, abs=6e-3)


@pytest.mark.parametrize("name", CASES)
def test_limit_by_eigenvalues(name):
    case = CASES[name]
    limit = stability_limit(
        speed_loop(case.chain, case.friction, case.timing), case.gain / 30, case.gain * 30
    )
    # The figures have six digits.
    assert limit.gain == pytest.approx(case.gain, rel=4e-6)
    assert limit.frequency_hz == pytest.approx(case.frequency_hz, rel=4e-6)
    assert 2 * math.pi * limit.frequency_hz == pytest.approx(case.frequency_rad_per_s, rel=6e-6)


@pytest.mark.parametrize("name", [name for name in CASES if name != "R2d"])
def test_limit_by_gain_margin_of_python_control(name):
    """The open loop built by python-control alone: its own discretisation, delay and margins."""
    case = CASES[name]
    a, b = continuous_state_space(case.chain, case.friction)
    n = case.chain.mass_count
    plant = control.ss(*relative(a, b[:, :1], output_matrix(n)[1:2]), 0.0)
    alpha = case.tick_s / case.integral_time_s if case.integral_time_s else 0.0
    controller = control.tf([1.0 + alpha, -1.0], [1.0, -1.0], case.tick_s)
    delay = control.tf([1.0], [1.0] + [0.0] * case.delay, case.tick_s)
    loop = control.sample_system(plant, case.tick_s, "zoh") * control.ss(delay)
    if alpha:
        loop = loop * control.ss(controller)
    margin = control.stability_margins(loop, returnall=True)
    # Near z = 1 its polynomials are ill conditioned and show crossings that are not there.
    gains = [g for g, w in zip(margin[0], margin[3], strict=True) if w > 100.0]
    assert min(gains) == pytest.approx(case.gain, rel=1e-5)


def relative(a, b, c):
    """Change to motor angle, twists and speeds, then leave the motor angle out.

    Otherwise the integrator of the position cancels and takes digits with it.
    """
    size = a.shape[0]
    change = np.eye(size)
    for mass in range(1, size // 2):
        change[mass, mass - 1] = -1.0
    back = np.linalg.inv(change)
    full = change @ a @ back
    return full[1:, 1:], (change @ b)[1:], (c @ back)[:, 1:]


@pytest.mark.parametrize("name", ["R2", "R4", "A1", "A2", "B1", "C1", "D2", "R2d"])
def test_limit_by_simulation_in_time(name):
    """At 0.99 of the limit the oscillation dies out, at 1.01 it grows, at the limit's frequency."""
    case = CASES[name]
    assert growth(case, 0.99 * case.gain)[0] < 0.999
    factor, frequency_hz = growth(case, 1.01 * case.gain)
    assert factor > 1.001
    assert frequency_hz == pytest.approx(case.frequency_hz, rel=5e-3)


def growth(case: Case, gain: float) -> tuple[float, float]:
    """Return growth over the last third of a run written out by hand, and its frequency."""
    machine = load_machine("positioning-bench")
    drive = dataclasses.replace(
        machine.drive, control_tick_s=case.tick_s, current_loop_time_constant_s=0.0
    )
    machine = dataclasses.replace(
        machine,
        chain=case.chain,
        friction=case.friction,
        drive=drive,
        disturbances=Disturbances(),
    )
    axis = DiscreteAxis(machine)
    n = case.chain.mass_count
    axis.state[n] = 1.0
    queue, integral, last_angle, torques = [0.0] * case.delay, 0.0, 0.0, []
    alpha = case.tick_s / case.integral_time_s if case.integral_time_s else 0.0
    for _ in range(6000):
        angle = axis.state[0]
        difference = (angle - last_angle) / case.tick_s
        speed, last_angle = (difference if case.difference else axis.state[n]), angle
        integral += alpha * -speed
        queue.append(gain * (-speed + integral))
        torques.append(queue[-1])
        axis.advance(queue.pop(0))
    change = np.diff(torques, 2)  # the oscillation without the slow motion
    spectrum = np.abs(np.fft.rfft(change[-4000:] * np.hanning(4000)))
    frequency_hz = np.argmax(spectrum) / (4000 * case.tick_s)
    rms = [np.sqrt(np.mean(part**2)) for part in np.split(change[-4000:], 2)]
    return float(rms[1] / rms[0]), float(frequency_hz)


POSITION_CASES = {
    "C, Kp 5, Tn 50 ms, motor": (PLANT_C, 1e-3, 5.0, 0.05, "motor", 9.1425, 9.847),
    "C, Kp 5, Tn 50 ms, load": (PLANT_C, 1e-3, 5.0, 0.05, "load", 0.27472, None),
    "C, Kp 2, Tn 50 ms, motor": (PLANT_C, 1e-3, 2.0, 0.05, "motor", 5.5884, None),
    "C, Kp 2, Tn 50 ms, load": (PLANT_C, 1e-3, 2.0, 0.05, "load", 0.49633, None),
    "C, Kp 5, Tn 200 ms, motor": (PLANT_C, 1e-3, 5.0, 0.2, "motor", 465.62, 627.9),
    "C, Kp 5, Tn 200 ms, load": (PLANT_C, 1e-3, 5.0, 0.2, "load", 0.85124, None),
    "rigid, Kp 2, Tn 10 ms": (RIGID, 250e-6, 2.0, 0.01, "motor", 1754.56, 2492.0),
    "rigid, Kp 1, Tn 10 ms": (RIGID, 250e-6, 1.0, 0.01, "motor", 2081.38, 1637.6),
}


@pytest.mark.parametrize("name", POSITION_CASES)
def test_position_loop_around_the_sampled_speed_loop(name):
    """Elasticity at 4 Hz hardly moves the speed loop's limit; it appears in the position loop."""
    chain, tick_s, gain, integral_time_s, source, expected, frequency = POSITION_CASES[name]
    timing = LoopTiming(tick_s, 1, speed_source="sensor", integral_time_s=integral_time_s)
    loop = position_loop(chain, None, timing, gain, source)
    limit = stability_limit(loop, expected / 100, expected * 10)
    assert limit.gain == pytest.approx(expected, rel=1e-4)
    if frequency is not None:
        assert 2 * math.pi * limit.frequency_hz == pytest.approx(frequency, rel=1e-4)
