"""The rig's C loop against the Python drive loop, tick by tick without noise."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from numpy.typing import NDArray

from gainwright_sim.machine import (
    Chain,
    Disturbances,
    Drive,
    Friction,
    Harmonic,
    Machine,
    Motion,
    SpeedLoop,
)
from gainwright_sim.machine.model import Base, Play
from gainwright_sim.plant.axis import Axis, DiscreteAxis
from gainwright_sim.rehearsal.bench import Bench

from ..shared.continuous_axis import ContinuousAxis
from .fixed_gain import LoopLog, fixed_gain_trial, replay_in_python

TICK_S = 250e-6
RIGID = Chain((2e-3,), (), ())
TWO = Chain((1e-3, 2e-3), (400.0,), (0.02,))
THREE = Chain((1e-3, 5e-4, 2e-3), (900.0, 300.0), (0.02, 0.01))
FOUR = Chain((1e-3, 4e-4, 6e-4, 1e-3), (900.0, 600.0, 300.0), (0.02, 0.01, 0.01))

PLAIN = Machine(
    name="plain",
    description="",
    origin="made for this test",
    chain=TWO,
    friction=Friction(),
    drive=Drive(
        control_tick_s=TICK_S,
        torque_delay_ticks=1,
        current_loop_time_constant_s=0.0,
        speed_filter_time_constant_s=0.0,
        rotor_inertia_kgm2=1e-3,
        rated_torque_nm=10.0,
        torque_limit_nm=25.0,
        top_speed_rad_per_s=300.0,
        encoder_counts_per_turn=2**20,
        torque_noise_per_unit=0.0,
    ),
    speed_loop=SpeedLoop(0.6, 0.0, 1.0),
    motion=Motion(12.0, 30.0, 300.0, 9000.0),
    brake=None,
    motor_rad_per_load_m=None,
)


def changed(machine: Machine = PLAIN, chain: Chain | None = None, **tables) -> Machine:
    """Return the machine with another chain, and some keys of some tables replaced."""
    parts = {
        name: dataclasses.replace(getattr(machine, name), **new) for name, new in tables.items()
    }
    return dataclasses.replace(machine, chain=chain or machine.chain, **parts)


MACHINES = {
    "two masses": changed(),
    "two masses with play": dataclasses.replace(
        PLAIN, play=Play(gap_rad=0.02, gap_stiffness_nm_per_rad=400.0)
    ),
    "belt with a slack span": dataclasses.replace(
        PLAIN, play=Play(pretension_nm=0.3, first_nm_per_rad=250.0, second_nm_per_rad=150.0)
    ),
    "rigid, PI": changed(chain=RIGID, speed_loop={"integral_time_s": 0.03}),
    "rigid, Coulomb friction of motor and load": changed(
        chain=RIGID, friction={"motor_coulomb_nm": 0.4, "load_coulomb_nm": 0.2}
    ),
    "two masses, PI, filter, delay 2, friction, coarse encoder": changed(
        speed_loop={"integral_time_s": 0.05, "start_speed_gain_nms_per_rad": 0.3},
        drive={
            "torque_delay_ticks": 2,
            "speed_filter_time_constant_s": 5e-4,
            "current_loop_time_constant_s": 2e-4,
            "encoder_counts_per_turn": 4096,
        },
        friction={
            "motor_viscous_nms_per_rad": 0.01,
            "motor_coulomb_nm": 0.3,
            "load_viscous_nms_per_rad": 0.02,
            "load_coulomb_nm": 0.2,
        },
    ),
    "two masses, torque limit with PI": changed(
        speed_loop={"integral_time_s": 0.05},
        drive={"rated_torque_nm": 0.8, "torque_limit_nm": 0.8},
    ),
    "three masses, PI, delay 3, constant load": changed(
        chain=THREE,
        speed_loop={"integral_time_s": 0.05, "start_speed_gain_nms_per_rad": 0.2},
        drive={"torque_delay_ticks": 3, "current_loop_time_constant_s": 1e-4},
        friction={"load_coulomb_nm": 0.2, "constant_load_torque_nm": -1.5},
    ),
    "three masses on a base, friction at both ends, PI": changed(
        chain=dataclasses.replace(THREE, base=Base(8e-3, 120.0, 0.02)),
        speed_loop={"integral_time_s": 0.05, "start_speed_gain_nms_per_rad": 0.2},
        drive={"current_loop_time_constant_s": 1e-4},
        friction={"motor_coulomb_nm": 0.3, "load_coulomb_nm": 0.2, "load_breakaway_nm": 0.3},
    ),
    "two masses with play, on a base": dataclasses.replace(
        PLAIN,
        chain=dataclasses.replace(TWO, base=Base(8e-3, 120.0, 0.02)),
        play=Play(gap_rad=0.02, gap_stiffness_nm_per_rad=400.0),
    ),
    "two masses, breakaway friction at both ends": changed(
        speed_loop={"integral_time_s": 0.05, "start_speed_gain_nms_per_rad": 0.2},
        friction={
            "motor_coulomb_nm": 0.4,
            "load_coulomb_nm": 0.6,
            "motor_breakaway_nm": 0.6,
            "load_breakaway_nm": 0.9,
            "stribeck_speed_rad_per_s": 2.0,
        },
    ),
    "two masses, every disturbance but noise": dataclasses.replace(
        changed(
            drive={"current_loop_time_constant_s": 2e-4, "torque_delay_ticks": 3},
            friction={"motor_coulomb_nm": 0.2, "load_coulomb_nm": 0.3},
        ),
        disturbances=Disturbances(
            torque_ripple=(Harmonic(24.0, 0.02), Harmonic(48.0, 0.01)),
            cogging=(Harmonic(8.0, 0.01), Harmonic(36.0, 0.015)),
            load_passing=(Harmonic(3.7, 0.01),),
            encoder_lines_per_turn=1024,
            interpolation_first_order=0.01,
            interpolation_second_order=0.005,
            current_offset_per_unit=0.01,
            current_gain_error=0.02,
            motor_pole_pairs=4,
            external_frequency_hz=23.0,
            external_torque_per_unit=0.02,
        ),
    ),
    "four masses, speed sensor with filter": changed(
        chain=FOUR,
        drive={"speed_source": "sensor", "speed_filter_time_constant_s": 3e-4},
        friction={"motor_coulomb_nm": 0.1},
    ),
}
"""No noise in any of them: the two loops must then do the same."""


@dataclasses.dataclass(frozen=True)
class RigSignals:
    """What the rig recorded, one line per control tick; the last three lack the last tick."""

    torque: NDArray[np.int32]
    speed_error: NDArray[np.int32]
    position_rad: NDArray[np.float32]
    load_speed_rad_per_s: NDArray[np.float32]
    reference_rad: NDArray[np.float32]


def run_both(
    machine: Machine, ticks: int, axis: Axis, pulse_ticks: int = 203
) -> tuple[RigSignals, LoopLog]:
    # Pulses begin where no block ends: an order waits there, and here it lasts two ticks only.
    trial = fixed_gain_trial(round(machine.drive.control_tick_s * 1e6), pulse_ticks)
    bench = Bench(trial, machine, changeable=True)
    rig = bench.rig(1, longest_s=ticks * machine.drive.control_tick_s, log_control=True)
    assert rig.advance(ticks) == ticks
    log = rig.log()
    # Signals are logged at the start of a sequencer tick: what the control tick before it left.
    signals = RigSignals(
        log.control[:, 0],
        log.control[:, 1],
        log.signal("position")[1:],
        log.signal("load_speed")[1:],
        log.signal("position_reference")[1:],
    )
    return signals, replay_in_python(trial, machine, bench.tables[0], log, axis)


def assert_same(rig: RigSignals, python: LoopLog, words: float, relative: float) -> None:
    """Compare words of 2**-24 per unit, and signals recorded as 32-bit floats."""
    assert np.abs(rig.torque - python.torque).max() < words
    assert np.abs(rig.speed_error - python.speed_error).max() < words
    for name in ("position_rad", "reference_rad", "load_speed_rad_per_s"):
        expected = getattr(python, name)[:-1]
        assert getattr(rig, name) == pytest.approx(expected, rel=relative, abs=1e-6), name


@pytest.mark.parametrize("name", MACHINES)
def test_c_loop_is_the_python_loop(name):
    """Torque, speed error and position agree to the last place of what the rig records."""
    machine = MACHINES[name]
    rig, python = run_both(machine, 4000, DiscreteAxis(machine))
    assert np.ptp(python.reference_rad) > 6.0, "the axis has moved to and fro"
    assert python.pulse_ticks > 50
    assert python.limited.any() == ("torque limit" in name)
    assert_same(rig, python, words=1.01, relative=1e-6)


@pytest.mark.slow
def test_c_plant_is_the_differential_equation():
    """Current loop, PI, filter and viscous friction: the plant integrated by scipy, tick by tick.

    Encoder steps would make a rounding error in the 12th place a step of a whole count now and
    then, so this axis measures its speed with a sensor and has no position hold.
    """
    machine = changed(
        drive={
            "speed_source": "sensor",
            "current_loop_time_constant_s": 2e-4,
            "speed_filter_time_constant_s": 3e-4,
        },
        speed_loop={"integral_time_s": 0.05, "hold_gain_per_s": 0.0},
        friction={"motor_viscous_nms_per_rad": 0.01, "load_viscous_nms_per_rad": 0.02},
    )
    rig, python = run_both(machine, 160, ContinuousAxis(machine, relative_tolerance=1e-10), 60)
    assert python.pulse_ticks > 20 and np.abs(python.position_rad).max() > 0.05
    assert_same(rig, python, words=3.0, relative=1e-6)


def test_a_wrong_delay_would_be_noticed():
    """The comparison is sharp: a loop with one more tick of delay differs by many words."""
    machine = MACHINES["two masses"]
    slower = changed(drive={"torque_delay_ticks": 2})
    rig, _ = run_both(machine, 1000, DiscreteAxis(machine))
    _, python = run_both(slower, 1000, DiscreteAxis(slower))
    assert np.abs(rig.torque - python.torque).max() > 1000
