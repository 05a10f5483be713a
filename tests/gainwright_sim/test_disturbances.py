"""Disturbances of the axis: each does what its key says, in the plant and in the rig's record."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from gainwright_sim.machine import Chain, Disturbances, Friction, Harmonic, Machine
from gainwright_sim.plant.axis import DiscreteAxis
from gainwright_sim.rehearsal.bench import Bench

from .fixed_gain import fixed_gain_trial
from .test_rig_loop import PLAIN, changed

RIGID = changed(chain=Chain((2e-3,), (), ()), drive={"control_tick_s": 62.5e-6})
RATED_NM = PLAIN.drive.rated_torque_nm


def disturbed(machine: Machine = RIGID, **values) -> Machine:
    return dataclasses.replace(machine, disturbances=Disturbances(**values))


def coast(machine: Machine, ticks: int, torque_nm: float = 0.0, speed: float = 20.0):
    """Return angle and speed of the motor after each tick, in open loop."""
    axis, n = DiscreteAxis(machine), machine.chain.mass_count
    axis.state[n : 2 * n] = speed
    lines = []
    for _ in range(ticks):
        axis.advance(torque_nm)
        lines.append((axis.state[0], axis.state[n]))
    return np.array(lines).T


def test_cogging_is_a_potential_over_the_angle():
    """J w^2/2 - J w0^2/2 = A/n (1 - cos(n angle)): the work of A sin(n angle), closed form."""
    machine = disturbed(cogging=(Harmonic(24.0, 0.1),))
    angle, speed = coast(machine, 4000)
    work = RATED_NM * 0.1 / 24.0 * (1.0 - np.cos(24.0 * angle))
    assert 1e-3 * (speed**2 - 400.0) == pytest.approx(work, abs=0.02 * np.ptp(work))
    assert angle[-1] > 4.0 and np.ptp(work) == pytest.approx(RATED_NM * 0.2 / 24.0, rel=1e-3)


def test_torque_ripple_is_a_share_of_the_torque():
    rippled = disturbed(torque_ripple=(Harmonic(12.0, 0.05),))
    assert np.ptp(coast(rippled, 2000)[1]) == 0.0, "none without torque"
    speeds = [coast(rippled, 2000, torque_nm)[1] for torque_nm in (0.5, 1.0)]
    plain = [coast(RIGID, 2000, torque_nm)[1] for torque_nm in (0.5, 1.0)]
    small, large = (np.abs(a - b).max() for a, b in zip(speeds, plain, strict=True))
    assert large == pytest.approx(2.0 * small, rel=0.1) and small > 1e-3


def test_torque_from_outside_shakes_the_load_at_its_own_frequency():
    """A / (J 2 pi f) is the amplitude of the speed of a free mass (Newton)."""
    machine = disturbed(external_frequency_hz=50.0, external_torque_per_unit=0.02)
    for start in (0.0, 20.0):
        speed = coast(machine, 3200, speed=start)[1]  # ten periods
        amplitude = RATED_NM * 0.02 / (2e-3 * 2 * np.pi * 50.0)
        assert np.ptp(speed) == pytest.approx(2.0 * amplitude, rel=1e-3)


def test_passing_load_parts_act_on_the_load():
    """With the spring between, the motor of an elastic axis sees less of it than the load."""
    two = changed(chain=Chain((1e-3, 2e-3), (400.0,), (0.02,)))
    axis = DiscreteAxis(disturbed(two, load_passing=(Harmonic(60.0, 0.02),)))
    axis.state[2:4] = 20.0  # 60 periods per turn: 191 Hz, above the resonance at 123 Hz
    speeds = []
    for _ in range(4000):
        axis.advance(0.0)
        speeds.append(axis.state[2:4].copy())
    motor, load = np.std(np.array(speeds)[-800:], axis=0)
    assert 0.0 < motor < load


def run(machine: Machine, ticks: int = 3000):
    """Return the rig's record of moves back and forth, one line per control tick."""
    trial = fixed_gain_trial(round(machine.drive.control_tick_s * 1e6), pulse_ticks=30_001)
    rig = Bench(trial, machine, changeable=True).rig(7, exact_ticks=ticks, log_control=True)
    rig.advance(ticks)
    return rig.log()


def tone(signal, angle, order: float) -> float:
    """Return the amplitude of a sine over the angle, by least squares beside mean and slope."""
    columns = (np.sin(order * angle), np.cos(order * angle), np.ones_like(angle), angle)
    fit, *_ = np.linalg.lstsq(np.stack(columns, axis=1), signal, rcond=None)
    return float(np.hypot(fit[0], fit[1]))


def cruise(log, machine: Machine = PLAIN) -> slice:
    """Return the longest part of a record in which the reference is at cruise speed."""
    step = machine.motion.cruise_speed_rad_per_s * machine.drive.control_tick_s
    steady = np.abs(np.abs(np.diff(log.signal("position_reference"))) - step) < 0.01 * step
    edges = np.flatnonzero(np.diff(np.concatenate(([0], steady.astype(int), [0]))))
    start, stop = max(edges.reshape(-1, 2).tolist(), key=lambda edge: edge[1] - edge[0])
    return slice(start + 100, stop)


@pytest.mark.parametrize(
    ("values", "order"),
    [
        ({"cogging": (Harmonic(36.0, 0.02),)}, 36.0),
        ({"load_passing": (Harmonic(7.3, 0.02),)}, 7.3),
        ({"current_offset_per_unit": 0.02, "motor_pole_pairs": 5}, 5.0),
        ({"torque_ripple": (Harmonic(30.0, 0.2),)}, 30.0),
        ({"current_gain_error": 0.1, "motor_pole_pairs": 5}, 10.0),
        (
            {"encoder_lines_per_turn": 64, "interpolation_first_order": 0.02},
            64.0,
        ),
        ({"encoder_lines_per_turn": 32, "interpolation_second_order": 0.02}, 64.0),
    ],
    ids=["cogging", "passing", "offset", "ripple", "gain", "first", "second"],
)
def test_the_record_shows_the_order(values, order):
    """Torque commands of the closed loop while it cruises against viscous friction."""
    amplitudes = []
    for shares in (values, {}):
        machine = dataclasses.replace(
            disturbed(PLAIN, **shares), friction=Friction(motor_viscous_nms_per_rad=0.05)
        )
        log = run(machine)
        part = cruise(log)
        angle = log.signal("position")[part].astype(float)
        assert np.ptp(angle) > 2.0
        amplitudes.append(tone(log.control[part, 0].astype(float), angle, order))
    assert amplitudes[0] > 5.0 * amplitudes[1]


def test_measured_torque_has_the_noise_of_the_current_sensors():
    # Without lag of the current loop the true torque takes the noise over with the other sign, and
    # the measured one is the command; behind a slow current loop the noise itself shows.
    slow = disturbed(
        changed(drive={"current_loop_time_constant_s": 0.02}), current_noise_per_unit=0.01
    )
    for machine, noise_nm in (
        (slow, 0.01 * RATED_NM),
        (dataclasses.replace(slow, disturbances=Disturbances()), 0.0),
    ):
        log = run(machine)
        torque = log.signal("measured_torque")[cruise(log)].astype(float)
        assert np.std(np.diff(torque, 2)) / np.sqrt(6.0) == pytest.approx(
            noise_nm, rel=0.1, abs=1e-3
        )


def test_mean_speed_is_that_of_the_axis_whatever_the_encoder():
    """One count per mean is at most 2.5 % of cruise speed, also with 4096 counts a turn."""
    for counts in (2**12, 2**24):
        machine = changed(
            drive={"encoder_counts_per_turn": counts},
            speed_loop={"integral_time_s": 0.05, "hold_gain_per_s": 4.0},
        )
        log = run(machine)
        mean = np.abs(log.signal("mean_speed")[cruise(log)])
        assert np.abs(mean - 30.0).max() < 0.03 * 30.0


@pytest.mark.parametrize("delay", [1, 2, 3])
def test_torque_takes_effect_after_the_delay(delay):
    """A gain step shows in the true torque so many ticks later."""
    log = run(changed(drive={"torque_delay_ticks": delay, "encoder_counts_per_turn": 2**24}), 800)
    command = log.control[:, 0] * RATED_NM / 2**24
    true_nm = log.signal("measured_torque")  # no noise: the torque applied in the tick before
    lag = delay + 2  # the record shows what was measured one tick before
    assert true_nm[lag + 1 : 700] == pytest.approx(command[1 : 700 - lag], abs=1e-5)
    assert np.abs(command[:700]).max() > 0.1
