"""Recordings made up for the tests of listening: noise, steady lines, growing oscillations."""

from __future__ import annotations

import numpy as np

from gainwright.detector.reference import ReferenceDetector
from gainwright.recording.recording import Recording

RATE_HZ = 2000.0


def times_s(seconds: float) -> np.ndarray:
    return np.arange(round(seconds * RATE_HZ)) / RATE_HZ


def noise(seconds: float, amplitude: float, seed: int) -> np.ndarray:
    return amplitude * np.random.default_rng(seed).standard_normal(len(times_s(seconds)))


def sine(seconds: float, frequency_hz: float, amplitude: float, phase: float = 0.3) -> np.ndarray:
    return amplitude * np.sin(2 * np.pi * frequency_hz * times_s(seconds) + phase)


def growing(
    seconds: float, frequency_hz: float, at_s: float, amplitude: float, growth_per_s: float
) -> np.ndarray:
    """An oscillation that has this amplitude at this time."""
    envelope = np.exp(growth_per_s * (times_s(seconds) - at_s))
    return sine(seconds, frequency_hz, amplitude) * np.minimum(envelope, 5.0)


def recording(torque: np.ndarray, speed_error: np.ndarray | None = None) -> Recording:
    error = torque if speed_error is None else speed_error
    return Recording("made-up.csv", RATE_HZ, torque, error, "torque", "speed_error")


def run_reference(settings, torque_raw, speed_error_raw):
    """The Python reference of the detector, as ``listen`` wants it."""
    detector = ReferenceDetector(settings)
    ring, burst = [], []
    for torque, error in zip(torque_raw.tolist(), speed_error_raw.tolist(), strict=True):
        detector.sample(torque, error)
        ring.append(detector.ring.level)
        burst.append(detector.burst.level)
    return np.array(ring, dtype=np.int32), np.array(burst, dtype=np.int32)
