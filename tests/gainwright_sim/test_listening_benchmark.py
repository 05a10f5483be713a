"""Made-up recordings of axes, and how they are judged."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright_sim.benchmark import recorded_axes as made
from gainwright_sim.benchmark.listening import judged, outcome


@pytest.mark.parametrize(("delay", "share"), [(1, 0.828427), (2, 0.535898), (3, 0.397825)])
def test_limit_of_a_rigid_axis_is_the_published_one(delay, share):
    """Speed as position difference, P only: k = 2 tan(pi / (4 (d + 1))) J / Ts (derived, SOURCES
    3.3; also confirmed there by eigenvalues)."""
    tick_s, load = 1e-3, np.array([1e-6])
    step, push = made._discrete(load, np.array([50.0]), np.array([0.5]), tick_s)
    axes = made._Axes(
        tick_s, 0, np.array([delay]), load, np.array([50.0]), np.array([0.5]), np.array([1e9]),
        np.ones(1), {}, {}, np.zeros((0, 1)), step, push,
    )  # fmt: skip
    assert made._limit(axes)[0] * tick_s == pytest.approx(share, rel=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("onset", [False, True])
def test_same_seed_same_recording(onset):
    first, second = (made.recorded_axes("mixed", 5, 2, onset) for _ in range(2))
    for one, other in zip(first, second, strict=True):
        assert np.array_equal(one.torque, other.torque)
        assert one.beyond_limit_s == other.beyond_limit_s


@pytest.mark.parametrize(
    "family",
    [pytest.param(name, marks=pytest.mark.slow) for name in ("slow_then_fast", "gear")]
    + ["reversals"],
)
def test_healthy_axes_give_no_onset_and_growing_ones_do(family):
    healthy = [outcome(axis, judged(axis)) for axis in made.recorded_axes(family, 7, 4, False)]
    growing = [outcome(axis, judged(axis)) for axis in made.recorded_axes(family, 7, 4, True)]
    assert "false onset" not in healthy and healthy.count("quiet") >= 3
    assert growing.count("in time") >= 3


def test_a_healthy_axis_that_is_taken_for_a_growing_one_is_noticed():
    """The benchmark itself: a verdict of onset on a healthy axis counts as false."""
    (growing,) = made.recorded_axes("gear", 8, 1, True)
    listening = judged(growing)
    assert outcome(growing, listening) == "in time"
    growing_as_healthy = made.RecordedAxis(
        "gear", 8, growing.sample_rate_hz, growing.delay_ticks,
        growing.torque, growing.speed_error, growing.speed, None,
    )  # fmt: skip
    assert outcome(growing_as_healthy, listening) == "false onset"
