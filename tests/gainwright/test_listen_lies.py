"""Recordings that look like onset and are not, or like quiet and are not; none was tuned on."""

from __future__ import annotations

import numpy as np
import pytest

from gainwright.listening.judging import Verdict
from gainwright.listening.listen import listen
from gainwright.listening.options import ListenOptions
from gainwright.listening.summary import summary_text
from gainwright.recording.recording import Recording

from ..shared.recordings import RATE_HZ, growing, noise, run_reference, sine, times_s

SECONDS = 8.0
TIME_S = times_s(SECONDS)
MOVES = 0.5 * np.clip(3.0 * np.sin(2 * np.pi * 0.4 * TIME_S), -1.0, 1.0)
"""Back and forth, per unit of top speed."""
PUSH = 0.2 * np.sign(np.gradient(MOVES)) * (np.abs(np.gradient(MOVES)) > 1e-9) + 0.05 * MOVES
"""Torque below the band that such motion takes."""
CALM = PUSH + noise(SECONDS, 0.004, 41)
ERROR = noise(SECONDS, 0.001, 42)


def judged(torque, error=ERROR, speed=MOVES, **options):
    recording = Recording("made-up.csv", RATE_HZ, torque, error, "torque", "error", speed)
    return listen(recording, ListenOptions(**options), run_reference)


def changed(values, where, value):
    copy = values.copy()
    copy[where] = value
    return copy


def test_the_axis_that_the_others_are_made_of_is_quiet_and_sure():
    listening = judged(CALM)
    assert listening.verdict is Verdict.QUIET
    assert listening.thresholds.quiet.sureness == "sure"
    assert listening.thresholds.quiet.speed > 0.25
    assert "found in the recording, sure" in summary_text(listening)


NOT_KNOWN = {
    "constant torque": (0.0 * CALM + 0.3, ERROR, MOVES, "torque holds one value throughout"),
    "constant error": (CALM, 0.0 * ERROR, MOVES, "error holds one value throughout"),
    "torque that sticks": (
        changed(CALM, TIME_S > 5.0, 0.1), ERROR, MOVES, "torque holds one value for long from",
    ),
    "torque that sticks, motion unknown": (
        changed(CALM, TIME_S > 3.5, 0.1), ERROR, None, "torque holds one value for long from",
    ),
    "clipped torque": (np.clip(CALM, -0.02, 0.02), ERROR, MOVES, "torque is clipped in"),
    "axis at rest": (noise(SECONDS, 0.004, 41), ERROR, 0.0 * MOVES, "never moves"),
    "axis at rest, noisy speed": (
        noise(SECONDS, 0.004, 41), ERROR, noise(SECONDS, 0.01, 43), "never moves",
    ),
    "motion unknown": (noise(SECONDS, 0.004, 41), ERROR, None, "no channel shows that"),
    "too small to resolve": (1e-6 * CALM, ERROR, MOVES, "--torque-base"),
    "oscillating all the time": (
        CALM + sine(SECONDS, 310.0, 0.8), ERROR, MOVES, "makes up the torque",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", NOT_KNOWN)
def test_no_ground_for_a_verdict(case):
    torque, error, speed, words = NOT_KNOWN[case]
    listening = judged(torque, error, speed)
    assert listening.verdict is Verdict.NOT_KNOWN and listening.onset is None
    assert any(words in reason for reason in listening.reasons), listening.reasons


def test_a_short_recording_says_so():
    short = slice(0, 260)
    listening = judged(CALM[short], ERROR[short], MOVES[short])
    assert listening.verdict is Verdict.NOT_KNOWN
    assert any("too little ordinary motion" in reason for reason in listening.reasons)


def swept(from_hz, to_hz, from_s, to_s, amplitude):
    """A line that follows a ramp of speed from one frequency to another."""
    frequency = np.interp(TIME_S, (from_s, to_s), (from_hz, to_hz))
    return amplitude * np.sin(2 * np.pi * np.cumsum(frequency) / RATE_HZ)


FALSE_ALARMS = {
    "one sample": changed(CALM, 9000, 3.0),
    "a blow": CALM
    + (TIME_S > 4.5) * np.exp(-30.0 * np.maximum(TIME_S - 4.5, 0.0)) * sine(SECONDS, 300.0, 0.5),
    "noise that sets in with fast motion": CALM + (TIME_S > 4.0) * noise(SECONDS, 0.05, 44),
    "noise that grows with speed": CALM * (1.0 + 20.0 * MOVES**2),
    "ripple that enters the band": CALM + swept(80.0, 330.0, 3.0, 4.5, 0.05),
    "two lines that beat": CALM + sine(SECONDS, 300.0, 0.02) + sine(SECONDS, 300.4, 0.02),
    "a pump throughout": CALM + sine(SECONDS, 300.0, 0.03),
    "a resonance that a ramp passes": CALM
    + 0.05 * sine(SECONDS, 300.0, 1.0) / (1.0 + (8.0 * (TIME_S - 4.0)) ** 2),
}


@pytest.mark.parametrize("case", FALSE_ALARMS)
@pytest.mark.parametrize("known", [True, False])
def test_loud_but_no_onset(case, known):
    assert judged(FALSE_ALARMS[case], speed=MOVES if known else None).onset is None


def test_one_sample_is_no_burst_either_where_the_threshold_is_given():
    torque = changed(CALM, 9000, 0.5)
    listening = judged(torque, burst_per_unit=0.1, silence_per_unit=0.1)
    assert listening.burst.values.max() > 256
    assert listening.onset is None


@pytest.mark.parametrize("growth_per_s", [4.0, 15.0, 60.0])
@pytest.mark.parametrize("frequency_hz", [260.0, 410.0, 700.0])
@pytest.mark.parametrize("known", [True, False])
def test_onset_in_the_same_surroundings(growth_per_s, frequency_hz, known):
    """Found before a twentieth of the final amplitude, or three times the ordinary one."""
    at_s, final = 5.0, 2.0
    wave = growing(SECONDS, frequency_hz, at_s, final / 5.0, growth_per_s)
    listening = judged(CALM + wave, speed=MOVES if known else None)
    assert listening.verdict is Verdict.ONSET
    assert listening.onset_frequency_hz == pytest.approx(frequency_hz, abs=6.0)
    amplitude = final / 5.0 * np.exp(growth_per_s * (listening.onset.time_s - at_s))
    ordinary = np.abs(listening.torque[: round(2.0 * RATE_HZ)])[100:].max()
    assert 0.3 * ordinary < amplitude < max(final / 20.0, 3.0 * ordinary)
    assert listening.thresholds.quiet.to_s < listening.onset.time_s


def test_an_oscillation_that_keeps_its_frequency_at_any_speed_is_onset():
    """There at once, as after a leap of the gain; a line of the motor's turning would follow it."""
    line = (TIME_S > 4.0) * sine(SECONDS, 310.0, 0.8)
    listening = judged(CALM + line)
    assert listening.verdict is Verdict.ONSET
    assert listening.onset.time_s == pytest.approx(4.0, abs=0.02)
    assert "whatever the speed" in listening.reasons[0]
    assert judged(CALM + line, speed=None).verdict is Verdict.NOT_KNOWN
