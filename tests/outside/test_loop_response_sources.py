"""The measured loop response against published facts of open loops from an injected signal."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright.detector.design import design_detector
from gainwright.detector.loop_response import ReferenceLoopResponse
from gainwright.detector.response_design import design_response, response_wanted
from gainwright.detector.response_settings import ResponseSettings
from gainwright.detector.timing import DriveRatings, DriveTiming
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright.stage_kind import STAGE_KINDS

TRIAL = load_trial(shipped_trial_path("gentle"))
TIMING = DriveTiming(125e-6, 1, 0.0, 0.0, speed_source="sensor")
RATINGS = DriveRatings(10.0, 25.0, 314.0, 2**20, 1e-3)
L_150 = 0.5 * np.exp(-1j * np.radians(150.0))


def rigid_settings() -> ResponseSettings:
    """Return the settings for a drive that has no lag but its own ticks."""
    stage, kind = TRIAL.stages[0], STAGE_KINDS["speed_gain"]
    detector = design_detector(kind, stage, TIMING, RATINGS)
    wanted = response_wanted(TRIAL, stage)
    # No torque command tells of a motor that is shaken too much: this axis has no friction.
    return design_response(wanted, kind, stage, TIMING, RATINGS, detector, 10.0, 1e6)


def normal(draw: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
    return (draw.normal(size=shape) + 1j * draw.normal(size=shape)) / math.sqrt(2.0)


@pytest.mark.parametrize(
    ("ratio", "direct"),
    [
        (0.01, (0.01 * L_150 - 1.0) / 1.01),
        (1.0, -0.716506 - 0.125j),
        (10.0, -0.484557 - 0.227273j),
        (100.0, (100.0 * L_150 - 1.0) / 101.0),
    ],
)
def test_the_known_signal_takes_the_bias_out(ratio: float, direct: complex) -> None:
    """L = 0.5 at -150 degrees in noise of power 1/S of the signal's, referred to the same point.

    The direct estimate -<U W*> / <W W*>, W = U + D, tends to (S L - 1) / (S + 1); with D as the
    instrument, which is what the exported C does, there is no bias: Soderstrom and Stoica, System
    Identification, 1989; Ljung, System Identification, 1999, ch. 13; Pintelon and Schoukens, System
    Identification, ch. 2 (from memory; the numbers are computed from the formula).
    """
    loop, draw, count = L_150, np.random.default_rng(20260802), 400_000
    noise = normal(draw, (count,)) / math.sqrt(ratio)
    torque = (-loop * 1.0 + noise) / (1.0 + loop)
    total = torque + 1.0
    biased = -np.mean(torque * total.conj()) / np.mean(np.abs(total) ** 2)
    assert abs(biased - direct) < 0.006
    assert ratio < 1.0 or abs(-torque.mean() / total.mean() - loop) < 0.006


@pytest.mark.parametrize(("ratio", "off"), [(10.0, 0.1127), (100.0, 0.01227)])
def test_how_far_the_direct_estimate_is_off(ratio: float, off: float) -> None:
    """From the same formula; without any signal it says -1, whatever the loop is."""
    direct = (ratio * L_150 - 1.0) / (ratio + 1.0)
    assert abs(direct / L_150 - 1.0) == pytest.approx(off, rel=1e-3)


def test_without_an_answer_the_exported_measurement_says_nothing() -> None:
    """Where the direct estimate would say -1, the limit: noise alone is no prediction."""
    twin = ReferenceLoopResponse(rigid_settings())
    draw = np.random.default_rng(3)
    for _ in range(3):
        twin.record(True, 0)
        for torque in draw.normal(0.0, 2.0**16, 8 * twin.settings.period_ticks):
            twin.sample(round(torque))
        twin.record(False, 0)
        twin.evaluate()
    assert twin.agreeing < 2


def test_scatter_of_the_estimate() -> None:
    """About |1 + L| / sqrt(M S): 0.0245 by the formula for S = 10 and M = 64, 0.0248 simulated.

    Pintelon and Schoukens, ch. 2 (from memory).
    """
    loop, draw = 0.5 * np.exp(-1j * np.radians(150.0)), np.random.default_rng(7)
    noise = normal(draw, (20_000, 64)) / math.sqrt(10.0)
    torque = ((-loop + noise) / (1.0 + loop)).mean(axis=1)
    found = -torque / (torque + 1.0)
    assert np.sqrt(np.mean(np.abs(found - loop) ** 2)) == pytest.approx(0.0248, abs=0.001)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5])
def test_limit_of_the_sampled_rigid_axis(share: float) -> None:
    """A rigid axis, P speed loop, true speed, a delay of one tick: the limit is K Ts/J = 1 exactly.

    z (z - 1) + k has its roots on the unit circle at k = 1 (Jury), the gain that sampled relay
    feedback finds too, as the ratio of the Fourier sums of torque and speed over whole periods
    (Astrom, Oscillations in systems with relay feedback, 1995; from memory). The exported
    measurement finds it from far below.
    """
    settings, stage = rigid_settings(), TRIAL.stages[0]
    detector = design_detector(STAGE_KINDS["speed_gain"], stage, TIMING, RATINGS)
    twin = ReferenceLoopResponse(settings)
    sections = [np.zeros(4) for _ in detector.sections]
    twin.record(True, 0)
    speed = pending = 0.0
    for _ in range(8 * settings.period_ticks):
        torque = -share * speed
        filtered = torque
        for section, past in zip(detector.sections, sections, strict=True):
            one = 2.0**30
            value = (section.b0 * filtered + section.b1 * past[0] + section.b2 * past[1]
                     + section.a1 * past[2] + section.a2 * past[3]) / one  # fmt: skip
            past[:] = filtered, past[0], value, past[2]
            filtered = value
        given = twin.sample(round(filtered))
        speed, pending = speed + pending, torque + given
    twin.record(False, 0)
    twin.evaluate()
    predicted = stage.ratio ** (twin.limit_position / 256.0) * share
    assert twin.agreeing == 1
    assert predicted == pytest.approx(1.0, rel=0.005)
