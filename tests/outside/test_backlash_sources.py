"""A position loop around backlash, against the describing function and its limit cycle.

P control K of 1/(s(s+1)) with backlash of half-gap D = 0.2 on the measured side (a university's
lecture on backlash, where K = 0.25 and 1 are quiet and K = 4 cycles; from memory). Describing
function of backlash driven by friction (Slotine and Li 1991, Applied Nonlinear Control, ch. 5, from
memory): no crossing below K = 3.4166; at K = 4 A = 0.33332, w = 1.22228. Simulated exactly: A =
0.32706, w = 1.21515.

Here the loop is the rig's, closed over the sensor at the load. A motor of inertia J under the speed
gain Kp alone is 1/(s(s+1)) in units of J/Kp; the position gain is K. The load is light and kept by
a little friction where the gap leaves it, which takes 2 % off the amplitude.
"""

from __future__ import annotations

import dataclasses
import math
import tomllib

import numpy as np
import pytest

from gainwright.language.load import trial_from_document
from gainwright_sim.machine import Chain, Friction, LoadSensor
from gainwright_sim.machine.model import Play
from gainwright_sim.rehearsal.bench import Bench

from ..gainwright_sim.test_rig_loop import PLAIN

HALF_GAP = 0.2
RUNG = 7
TICKS, LAST_TICKS = 110_000, 40_000
"""Of 1 ms."""
POSITION_GAIN = 0.02 * 2.0**RUNG
"""2.56 1/s."""
HOLD_TEXT = """\
[trial]
name = "hold"
title = "Hold a position, the loop closed over the load"
tick_us = 1000
initial_state = "hold"

[inputs]
standstill = { kind = "boolean", meaning = "The axis stands still" }

[variables]
limit = { kind = "integer", range = [0, 7], initial = 0, meaning = "Not searched" }
result = { kind = "integer", range = [0, 7], initial = 0, meaning = "Not searched" }
found = { kind = "boolean", initial = false, meaning = "Not searched" }

[outputs]
torque_request = { kind = "boolean", default = true, meaning = "Ask for torque" }
motion_enable = { kind = "boolean", default = true, meaning = "Follow the target" }
position_from_load = { kind = "boolean", default = true, meaning = "Close the loop over the load" }
target_position = { kind = "integer", range = [-32_768, 32_767], default = 16_384, meaning = "To" }
rung = { kind = "integer", range = [0, 7], default = 7, meaning = "Rung that applies" }

[conditions]
still = { holds = "standstill", meaning = "The axis stands still" }

[states.hold]
meaning = "Hold"

[[rows]]
id = "rest"
from = "hold"
when = ["still"]
why = "At rest."

[[rows]]
id = "move_on"
from = "hold"
unless = ["still"]
why = "On the way."

[stages.load_position_gain]
title = "Gain over the load"
unit = "1/s"
rung = "rung"
limit = "limit"
result = "result"
onset = "found"
ratio = 2.0
rungs = 8
margin = 0.1
margin_rungs = 1
pulse_share = 0.06
response_share = 0.03
burst_share = 0.1
silence_counts = 1

[hazards]
end_of_travel = { consequence = "The axis leaves its travel" }

[requirements.target_is_kept]
hazard = "end_of_travel"
sentence = "The target does not change."
kind = "invariant"
formula = "target_position == 16_384"
proved_by = "induction"
"""


def machine_with(k: float):
    """Return the axis whose loop has the gain K = k: its unit of time is k / position gain."""
    inertia = 1.0
    kp = POSITION_GAIN * inertia / k
    return dataclasses.replace(
        PLAIN,
        chain=Chain((inertia, 1e-5), (400.0,), (1e-3,)),
        friction=Friction(load_coulomb_nm=2e-3),
        drive=dataclasses.replace(
            PLAIN.drive,
            control_tick_s=1e-4,
            speed_source="sensor",
            encoder_counts_per_turn=2**30,
        ),
        speed_loop=dataclasses.replace(
            PLAIN.speed_loop,
            start_speed_gain_nms_per_rad=kp,
            integral_time_s=0.0,
            friction_compensation="none",
        ),
        motion=dataclasses.replace(
            PLAIN.motion, travel_window_rad=12.0, cruise_speed_rad_per_s=30.0
        ),
        play=Play(gap_rad=2.0 * HALF_GAP, gap_stiffness_nm_per_rad=400.0),
        load_sensor=LoadSensor(resolution_rad=1e-7, delay_s=0.0),
    )


def settled(k: float):
    """Return (amplitude of motor and of load, frequency in units of Kp / J), long after a step."""
    trial = trial_from_document(tomllib.loads(HOLD_TEXT), "hold.toml")
    rig = Bench(trial, machine_with(k), changeable=True).rig(1, exact_ticks=TICKS)
    rig.advance(TICKS)
    motor, load = (
        rig.log().signal(name)[-LAST_TICKS:].astype(float) for name in ("position", "load_position")
    )
    away = motor - 0.5 * (motor.max() + motor.min())
    ups = np.flatnonzero((away[:-1] < 0.0) & (away[1:] >= 0.0))
    period_s = np.diff(ups).mean() * 1e-3 if len(ups) > 2 else math.inf
    frequency = 2.0 * math.pi / (period_s * POSITION_GAIN / k)
    return 0.5 * float(np.ptp(motor)), 0.5 * float(np.ptp(load)), frequency


def test_cycle_around_backlash():
    motor, load, frequency = settled(4.0)
    assert motor == pytest.approx(0.32706, rel=0.025)
    assert load == pytest.approx(motor - HALF_GAP, abs=0.002)
    assert frequency == pytest.approx(1.21515, rel=0.02)


@pytest.mark.parametrize("k", [0.25, 1.0])
def test_low_gain_is_quiet(k):
    """The motor may creep within the gap, and touch the load; the load all but stands."""
    _, load, _ = settled(k)
    assert load < 0.01 * HALF_GAP * 2.0
