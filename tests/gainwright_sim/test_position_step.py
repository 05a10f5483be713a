"""What the drive measures of a small step of the position: against the textbook's second order."""

from __future__ import annotations

import dataclasses
import tomllib

import pytest

from gainwright.language.load import trial_from_document
from gainwright_sim.machine import Chain, Disturbances, Friction, load_machine
from gainwright_sim.rehearsal.bench import Bench

from .fixed_gain import _TEXT

STEP_TICKS = 700
WATCHED_TICKS = 300
_ARRIVED = "target_reached and step_overshoot + step_residual >= 0"
"""Every input must be read by something."""
_STEPPING = """
step_overshoot = { kind = "integer", range = [0, 511], meaning = "Beyond the step" }
step_residual = { kind = "integer", range = [0, 511], meaning = "Swinging" }

[variables]"""
_STEP = """
position_step = { kind = "boolean", default = "since >= step_ticks", meaning = "Step" }

[conditions]"""
_CONSTANT = """
step_ticks = { value = 700, unit = "ticks", meaning = "From the turn to the step" }

[inputs]"""


def stepping_trial():
    text = _TEXT.format(tick_us=1000, pulse_ticks=30_001, low=-20_000)
    for mark, more in (
        ("[variables]", _STEPPING),
        ("[conditions]", _STEP),
        ("[inputs]", _CONSTANT),
    ):
        text = text.replace(f"\n{mark}", more, 1)
    text = text.replace("ratio = 1.25", "ratio = 1.001").replace("margin = 0.1", "margin = 0.0009")
    text = text.replace('holds = "target_reached"', f'holds = "{_ARRIVED}"')
    return trial_from_document(tomllib.loads(text), "stepping.toml")


def rigid_machine(position_gain: float, lag_s: float = 0.02):
    """A rigid axis without friction whose speed loop is one lag: T = J / Kp."""
    machine = load_machine("positioning-bench")
    loop = dataclasses.replace(
        machine.speed_loop,
        start_speed_gain_nms_per_rad=1e-3 / lag_s,
        integral_time_s=0.0,
        hold_gain_per_s=position_gain,
        friction_compensation="none",
    )
    return dataclasses.replace(
        machine,
        chain=Chain((1e-3,), (), ()),
        friction=Friction(),
        disturbances=Disturbances(),
        speed_loop=loop,
    )


@pytest.fixture(scope="module")
def bench():
    return Bench(stepping_trial(), rigid_machine(12.5), changeable=True)


@pytest.mark.parametrize(
    ("product", "overshoot"), [(0.25, 0.0), (0.5, 0.04321), (1.0, 0.16303), (2.0, 0.30468)]
)
def test_overshoot_of_the_position_loop(bench, product, overshoot):
    """SOURCES 2.3: Kv/(s(1+sT)), zeta = 1/(2 sqrt(Kv T)): exp(-pi zeta / sqrt(1 - zeta^2)).

    Twice in the record, once in each direction.
    """
    bench.mount(rigid_machine(product / 0.02))
    rig = bench.rig(seed=1, exact_ticks=6000)
    rig.advance(6000)
    log, places = rig.log(), bench.trial.index
    since = log.variables[:, places.variables["since"]]
    measured = log.inputs[:, places.inputs["step_overshoot"]] / 256
    ends = [k for k in range(len(since)) if since[k] == STEP_TICKS + WATCHED_TICKS]
    assert len(ends) >= 2
    for end in ends[1:]:
        # The drive's own delays are 2 % of the lag.
        assert measured[end] == pytest.approx(overshoot, abs=0.01)


def test_swinging_fades_where_the_loop_is_damped_and_lasts_where_it_is_not(bench):
    """With a lag of 2 ms the drive's own delay makes the loop unstable near 4000 1/s."""
    at = {}
    for gain in (125.0, 5000.0):
        bench.mount(rigid_machine(gain, 0.002))
        rig = bench.rig(seed=1, exact_ticks=4500)
        rig.advance(4500)
        log, places = rig.log(), bench.trial.index
        since = log.variables[:, places.variables["since"]]
        residual = log.inputs[:, places.inputs["step_residual"]] / 256
        at[gain] = max(residual[since == STEP_TICKS + WATCHED_TICKS])
    assert at[125.0] < 0.05 < 0.2 < at[5000.0]
