"""Stability theory: against simulation of the drive loop, and against itself by other ways."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from gainwright_sim.machine import (
    Chain,
    Disturbances,
    Friction,
    Machine,
    load_machine,
    shipped_machine_names,
)
from gainwright_sim.plant.axis import DiscreteAxis
from gainwright_sim.plant.loop import DriveLoop
from gainwright_sim.theory import (
    LoopTiming,
    UnstableAtStartError,
    position_loop,
    sample_axis,
    speed_loop,
    stability_limit,
)
from gainwright_sim.theory.closed_loop import machine_loop
from gainwright_sim.theory.stages import SPEED_GAIN

TWO = Chain((1e-3, 2e-3), (1500.0,), (0.05,))


def linear(machine: Machine) -> Machine:
    friction = Friction(
        motor_viscous_nms_per_rad=machine.friction.motor_viscous_nms_per_rad,
        load_viscous_nms_per_rad=machine.friction.load_viscous_nms_per_rad,
    )
    return dataclasses.replace(machine, friction=friction, disturbances=Disturbances())


def growth_per_tick(machine: Machine, gain: float, ticks: int) -> float:
    """Return how the oscillation of the simulated drive loop grows, from two windows of it."""
    axis = DiscreteAxis(machine)
    axis.state[machine.chain.mass_count] = 1e-3
    loop = DriveLoop(machine, axis, ideal=True)
    loop.speed_gain_nms_per_rad = gain
    torque = np.diff([loop.tick().torque_command_nm for _ in range(ticks)], 2)
    window = ticks // 4
    early = np.sqrt(np.mean(torque[ticks // 2 - window : ticks // 2] ** 2))
    late = np.sqrt(np.mean(torque[-window:] ** 2))
    return math.log(late / early) / (len(torque) - ticks // 2)


@pytest.mark.parametrize(
    "machine",
    [load_machine(name) for name in shipped_machine_names()]
    + [
        dataclasses.replace(
            load_machine("glaze-gantry"),
            drive=dataclasses.replace(
                load_machine("glaze-gantry").drive,
                torque_delay_ticks=3,
                speed_filter_time_constant_s=4e-4,
                current_loop_time_constant_s=0.0,
            ),
        )
    ],
    ids=lambda machine: machine.name,
)
def test_simulated_drive_loop_decays_below_and_grows_above_the_limit(machine):
    machine = linear(machine)
    limit = SPEED_GAIN.limit(machine)
    loop = machine_loop(machine, "speed_gain")
    for factor in (0.97, 1.03):
        rate = growth_per_tick(machine, factor * limit.gain, 3000)
        radius = abs(loop.dominant_eigenvalue(factor * limit.gain))
        assert (rate > 0) == (factor > 1)
        # Above the limit the fastest growing mode is all that is left in the end.
        if factor > 1:
            assert rate == pytest.approx(math.log(radius), rel=5e-3)


def test_hold_gain_of_zero_leaves_out_only_the_position():
    """With a vanishing position gain the limit is the one without position at all."""
    timing = LoopTiming(125e-6, integral_time_s=0.02, current_loop_time_constant_s=1e-4)
    without = stability_limit(speed_loop(TWO, None, timing), 0.05, 50.0)
    vanishing = stability_limit(speed_loop(TWO, None, timing, 1e-6), 0.05, 50.0)
    assert vanishing.gain == pytest.approx(without.gain, rel=1e-6)


@pytest.mark.parametrize("source", ["motor", "load"])
def test_position_loop_and_speed_loop_agree_on_the_boundary(source):
    """The same point of the (Kp, Kv) plane, reached along either axis, lies on the boundary."""
    timing = LoopTiming(1e-3, integral_time_s=0.05, speed_filter_time_constant_s=5e-4)
    chain = Chain((0.01, 0.05), (5.0,), (0.005,))
    limit = stability_limit(position_loop(chain, None, timing, 2.0, source), 1e-3, 1e4)
    across = speed_loop(chain, None, timing, limit.gain, source)
    assert abs(across.dominant_eigenvalue(2.0)) == pytest.approx(1.0, abs=1e-9)


def test_rigid_chain_of_several_masses_tends_to_one_mass():
    """Springs far above the sampling frequency: only the total inertia is left."""
    timing = LoopTiming(250e-6, current_loop_time_constant_s=2e-4)
    stiff = Chain((1e-3, 1e-3, 1e-3, 1e-3), (1e9,) * 3, (500.0,) * 3)
    one = stability_limit(speed_loop(Chain((4e-3,), (), ()), None, timing), 0.1, 1e3)
    four = stability_limit(speed_loop(stiff, None, timing), 0.1, 1e3)
    assert four.gain == pytest.approx(one.gain, rel=1e-3)


def test_reflected_limit_scales_with_inertia():
    """All inertias, stiffnesses, dampings times x: the limit times x, the frequency unchanged."""
    timing = LoopTiming(250e-6)
    tenfold = Chain((1e-2, 2e-2), (15000.0,), (0.5,))
    small = stability_limit(speed_loop(TWO, None, timing), 0.05, 50.0)
    large = stability_limit(speed_loop(tenfold, None, timing), 0.5, 500.0)
    assert large.gain == pytest.approx(10.0 * small.gain, rel=1e-9)
    assert large.frequency_hz == pytest.approx(small.frequency_hz, rel=1e-9)


def test_rigid_body_calculation_uses_the_total_inertia():
    """Position difference, one tick of delay, no current loop: Ku = 0.828427 J/Ts (closed form)."""
    machine = load_machine("kiln-shuttle")
    drive = dataclasses.replace(machine.drive, current_loop_time_constant_s=0.0)
    loop = dataclasses.replace(machine.speed_loop, integral_time_s=0.0, hold_gain_per_s=0.0)
    friction = Friction()
    machine = dataclasses.replace(machine, drive=drive, speed_loop=loop, friction=friction)
    expected = 2.0 * math.tan(math.pi / 8.0) * (0.0092 + 0.03968) / 125e-6
    assert SPEED_GAIN.rigid_body_limit(machine).gain == pytest.approx(expected, rel=1e-9)


def test_loop_that_is_unstable_from_the_start_says_so():
    """An undamped mode that the delay turns against the loop: unstable at every gain."""
    chain = Chain((1.0, 1.0), (2.0,), (0.0,))
    timing = LoopTiming(0.01, torque_delay_ticks=100, speed_source="sensor")
    with pytest.raises(UnstableAtStartError, match="already at a gain"):
        stability_limit(speed_loop(chain, None, timing), 0.01, 10.0)


def test_loop_without_a_limit_in_the_range_has_an_infinite_one():
    loop = speed_loop(Chain((1e-3,), (), ()), None, LoopTiming(250e-6))
    limit = stability_limit(loop, 0.01, 1.0)
    assert limit.gain == math.inf and math.isnan(limit.frequency_hz)


@pytest.mark.parametrize("span", [(0.0, 1.0), (2.0, 1.0), (-1.0, 1.0), (1.0, math.inf)])
def test_range_must_be_positive_and_rising(span):
    loop = speed_loop(TWO, None, LoopTiming(250e-6))
    with pytest.raises(ValueError, match="0 < low gain < high gain"):
        stability_limit(loop, *span)


def test_start_gain_from_the_nameplate_alone_suits_random_axes():
    """Limits between the start gain and 125 rungs of 4.5 %; here 200 of the seeds counted once."""
    ratios = []
    for seed in range(200):
        machine = sample_axis(seed)
        limit = SPEED_GAIN.limit(machine)
        ratios.append(limit.gain / machine.speed_loop.start_speed_gain_nms_per_rad)
        # The oscillation is always the fast one of loop delay and motor inertia: no slow
        # instability of position hold and elastic load hides below the limit.
        assert limit.frequency_hz > 500.0, seed
    rungs = np.log(ratios) / math.log(1.045)
    assert rungs.min() > 3.0 and rungs.max() < 125.0
    assert np.mean((rungs > 20.0) & (rungs < 120.0)) > 0.97


@pytest.mark.parametrize("factor", [1.001, 3.0, 50.0])
@pytest.mark.parametrize("name", ["kiln-shuttle", "door-hoist"])
def test_limit_below_the_start_gain_is_the_same_limit(name, factor):
    machine = load_machine(name)
    exact = SPEED_GAIN.limit(machine)
    start = factor * exact.gain
    loop = dataclasses.replace(machine.speed_loop, start_speed_gain_nms_per_rad=start)
    again = SPEED_GAIN.limit(dataclasses.replace(machine, speed_loop=loop))
    assert again.gain == pytest.approx(exact.gain, rel=1e-9)
    assert again.frequency_hz == pytest.approx(exact.frequency_hz, rel=1e-9)


def test_limit_too_far_below_the_start_gain_is_none():
    machine = load_machine("kiln-shuttle")
    start = 2e4 * SPEED_GAIN.limit(machine).gain
    loop = dataclasses.replace(machine.speed_loop, start_speed_gain_nms_per_rad=start)
    with pytest.raises(UnstableAtStartError):
        SPEED_GAIN.limit(dataclasses.replace(machine, speed_loop=loop))


def test_machine_is_stable_on_one_side_of_its_limit_only():
    machine = load_machine("glaze-gantry")
    limit = SPEED_GAIN.limit(machine).gain
    assert SPEED_GAIN.is_stable(machine, 0.999 * limit)
    assert not SPEED_GAIN.is_stable(machine, 1.001 * limit)
