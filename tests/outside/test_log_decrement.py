"""Ring-down of the simulated axis: logarithmic decrement against the textbook relation.

delta = ln(x1/x2), zeta = delta / sqrt(4 pi^2 + delta^2) (textbook of vibration; computed numbers).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright_sim.machine.mechanics import two_mass_chain
from gainwright_sim.plant.discrete import discretise


def peak_ratio_over_one_period(damping_ratio: float) -> float:
    """Let the twist of a two-mass axis ring and compare it one damped period later.

    The tick is a whole part of the damped period, so that the comparison is exact.
    """
    motor, load, stiffness = 1e-3, 2e-3, 1500.0
    natural = math.sqrt(stiffness * (1.0 / motor + 1.0 / load))
    period_s = 2.0 * math.pi / (natural * math.sqrt(1.0 - damping_ratio**2))
    ticks = 32
    chain = two_mass_chain(motor, load, stiffness, damping_ratio)
    plant = discretise(chain, None, period_s / ticks)
    state = np.array([1.0, 0.0, 0.0, 0.0, 0.0])
    twists = []
    for _ in range(3 * ticks):
        twists.append(state[0] - state[1])
        state = plant.a @ state
    ratios = [twists[k] / twists[k + ticks] for k in (0, 20, 40)]
    assert ratios == pytest.approx([ratios[0]] * 3, rel=1e-9)
    return ratios[0]


@pytest.mark.parametrize(
    ("damping_ratio", "decrement"),
    [
        (0.05, 0.314553),
        (0.1, 0.631484),
        (0.109653, math.log(2.0)),
        (0.215454, math.log(4.0)),
        (0.0639066, math.log(10.0 / 2.0) / 4.0),
    ],
)
def test_decrement_of_the_simulated_ring_down(damping_ratio, decrement):
    ratio = peak_ratio_over_one_period(damping_ratio)
    assert math.log(ratio) == pytest.approx(decrement, rel=1e-5)
    # And back, by the formula.
    delta = math.log(ratio)
    assert delta / math.sqrt(4.0 * math.pi**2 + delta**2) == pytest.approx(damping_ratio, rel=1e-9)


def test_ratio_of_peaks_at_a_tenth_damping():
    assert peak_ratio_over_one_period(0.1) == pytest.approx(1.88040, rel=1e-5)
