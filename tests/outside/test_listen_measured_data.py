"""The exported detector, as ``gainwright listen`` runs it, on open recordings of real machines.

One set of defaults for all: thresholds twice the strongest block of the first second, the filter's
settling left out. None of these recordings shows a servo axis driven unstable by its own gain; they
show that the detector is quiet on real, loud, stable axes and fires on a real growing oscillation.
So that a deaf detector does not pass, an oscillation is added to each of the quiet recordings.
"""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from scipy.io import loadmat

from gainwright_cli.main import main

from .recorded_data import recorded_file

# Positioning axis (Janot, Gautier, Brunot 2019): drive command [V], position and its reference [m];
# no sample times but those of the file. Two-mass bench (Beauduin 2014, Ohnishi 2019): current [A],
# motor angle [rad], times in microseconds; 10 A and 20 rad/s as one per unit keep the angle's
# difference within the range of the signals. Milling (Rahimi 2021): one channel of acceleration.
POSITIONING = ["--torque", "vir", "--position", "qm", "--position-reference", "qg", "--time", "t"]
BENCH = [
    *["--torque", "iq_adx", "--position", "theta_mx", "--time", "time", "--time-unit", "1e-6"],
    *["--torque-base", "10", "--speed-base", "20"],
]
MILLING = ["--torque", "data", "--speed-error", "data", "--rate", "10000"]
QUIET = {
    "positioning_axis/DATA_EMPS.mat": POSITIONING,
    "positioning_axis/DATA_EMPS_PULSES.mat": POSITIONING,
    "two_mass_bench/MultisineTypeA.mat": BENCH,
    "two_mass_bench/MultisineTypeB.mat": BENCH,
}
# The operator knows spindle speed and teeth: 5000 rpm and 4 teeth strike at 333 Hz. The second way
# takes the recording for a drive's own, one tick of delay at 10 kHz: from 750 Hz.
ABOVE_TOOTH_PASSING = ["--band-from", "500"]
BANDS = [ABOVE_TOOTH_PASSING, [], ["--band-from", "400"], ["--band-from", "600"]]
NOT_YET_S, ONSET_BY_S, GONE_S = 3.8, 4.1, 5.2


def hear(capsys, path, *words) -> dict:
    code = main(["listen", str(path), *map(str, words), "--json"])
    keys = json.loads(capsys.readouterr().out)
    assert code == (3 if keys["verdict"] == "not known" else 0)
    return keys


@pytest.mark.parametrize("name", QUIET)
def test_quiet_on_a_stable_axis(name, capsys):
    """Motion, friction reversals, force pulses of 176 N, a loud multisine: none of it is onset.

    Margins measured with the defaults: torque 5.8 dB (positioning), 6.0 dB (all others); speed
    error 5.0, 4.6, 5.9 and 5.7 dB, where 6 dB is what the calibration leaves to a recording that
    stays exactly as loud as its first second.
    """
    keys = hear(capsys, recorded_file(name), *QUIET[name])
    assert keys["onset"] is False and keys["verdict"] == "quiet"
    assert keys["quiet_part"]["sureness"] == "sure" and keys["quiet_part"]["windows"] > 40
    assert keys["burst_level_max"]["level"] <= 72
    assert keys["ring_level_max"]["level"] <= 100


@pytest.mark.parametrize("seconds", [0.6, 2, 3])
@pytest.mark.parametrize("delay_ticks", [1, 2])
@pytest.mark.parametrize("name", QUIET)
def test_quiet_with_another_delay_or_calibration(name, delay_ticks, seconds, capsys):
    """The bench's multisine repeats every second: of half a period the detector hears less."""
    words = [*QUIET[name], "--delay-ticks", delay_ticks, "--quiet-seconds", seconds]
    keys = hear(capsys, recorded_file(name), *words)
    assert keys["onset"] is False
    assert keys["burst_level_max"]["level"] <= 128


def test_force_steps_are_heard_but_are_no_onset(tmp_path, capsys):
    """Every 0.5 s a step of 5 V, 176 N: heard below the threshold, half of it in amplitude."""
    path = recorded_file("positioning_axis/DATA_EMPS_PULSES.mat")
    hear(capsys, path, *POSITIONING, "--out", tmp_path / "out")
    time_s, burst, _ = np.loadtxt(
        tmp_path / "out" / "levels.csv", delimiter=",", skiprows=1, unpack=True
    )
    steps_s = np.flatnonzero(np.diff(loadmat(path)["pulses_N"].ravel().astype(int))) * 1e-3
    assert len(steps_s) == 49
    heard = [burst[(time_s > at_s - 0.005) & (time_s < at_s + 0.03)].max() for at_s in steps_s]
    assert min(heard) >= 32 and max(heard) <= 72


@pytest.mark.parametrize("growth_per_s", [4.0, 25.0])
@pytest.mark.parametrize("name", QUIET)
def test_not_deaf_on_the_same_axes(name, growth_per_s, tmp_path, capsys):
    """An oscillation in the band that grows by itself is reported as it exceeds the threshold.

    It goes on to 2.8 times the threshold, as nothing but the torque limit stops one.
    """
    path = recorded_file(name)
    axis = name.startswith("positioning")
    rate_hz, base, frequency_hz = (1000.0, 1.0, 170.0) if axis else (2500.0, 10.0, 410.0)
    threshold = hear(capsys, path, *QUIET[name])["thresholds"]["burst_per_unit"] * base
    contents = {k: v for k, v in loadmat(path).items() if k in QUIET[name]}
    torque = QUIET[name][1]
    time_s = np.arange(contents[torque].size) / rate_hz
    growth = np.exp(np.minimum(growth_per_s * (time_s - 12.0), math.log(2.8)))
    oscillation = threshold * growth * np.sin(2 * math.pi * frequency_hz * time_s)
    contents[torque] = contents[torque].ravel() + oscillation
    np.savez(tmp_path / "log.npz", **contents)
    # The pulses of 5 V and this together leave the range of signals at one volt per unit.
    words = [*QUIET[name], "--torque-base", "2"] if axis else QUIET[name]
    keys = hear(capsys, tmp_path / "log.npz", *words)
    assert keys["onset_cause"] == "burst"
    # What is there already adds up to half the threshold's amplitude, so it may be at half.
    assert 12.0 - math.log(2.5) / growth_per_s <= keys["onset_time_s"] <= 12.0 + 0.05
    assert keys["onset_frequency_hz"] == pytest.approx(frequency_hz, abs=8.0)


@pytest.mark.parametrize("band", BANDS, ids=" ".join)
@pytest.mark.parametrize("seconds", [None, 0.5, 1, 3])
def test_onset_of_a_growing_oscillation(band, seconds, capsys):
    """Band of 650 to 720 Hz: silent until 3.8 s, growing until 4.7 s (a reading of the signal).

    The frequency falls during the growth, and its window resolves a fortieth of the lowest
    oscillation frequency, so that much is added on either side.

    The steady line at 151 Hz and the tooth passing at 333 Hz are there from the first sample on.
    """
    path = recorded_file("milling_onset/data.mat")
    stated = [] if seconds is None else ["--quiet-seconds", seconds]
    keys = hear(capsys, path, *MILLING, *band, *stated)
    assert keys["onset"] is True and keys["verdict"] == "onset"
    assert keys["growth"]["factor"] > 4.0
    if seconds is None:
        part = keys["thresholds"]["quiet_part_s"]
        assert keys["quiet_part"]["chosen_by"] == "recording" and part[1] < 3.8
    assert NOT_YET_S < keys["onset_time_s"] < ONSET_BY_S
    resolution_hz = keys["lowest_oscillation_hz"] / 40
    assert abs(keys["onset_frequency_hz"] - 685.0) <= 35.0 + resolution_hz


def test_margins_before_and_after_the_onset(tmp_path, capsys):
    """From 500 Hz on: 3.9 dB below the threshold before 3.8 s, 2.2 dB above it at 4.1 s."""
    path = recorded_file("milling_onset/data.mat")
    hear(capsys, path, *MILLING, *ABOVE_TOOTH_PASSING, "--out", tmp_path / "out")
    time_s, burst, ring = np.loadtxt(
        tmp_path / "out" / "levels.csv", delimiter=",", skiprows=1, unpack=True
    )
    settled = time_s > 0.02
    assert burst[settled & (time_s < NOT_YET_S)].max() <= 128
    assert ring[settled & (time_s < NOT_YET_S)].max() <= 192
    assert burst[time_s < ONSET_BY_S].max() >= 384
    assert ring[time_s < ONSET_BY_S].max() >= 384
    assert burst[time_s > GONE_S].max() <= 128 and ring[time_s > GONE_S].max() <= 128


def test_steady_lines_alone_are_no_onset(tmp_path, capsys):
    """The part before the oscillation, and the part after it, on their own."""
    signal = loadmat(recorded_file("milling_onset/data.mat"))["data"].ravel()
    for name, part in (("before", signal[:38_000]), ("after", signal[52_000:79_000])):
        np.savez(tmp_path / f"{name}.npz", data=part)
        for band in BANDS:
            keys = hear(capsys, tmp_path / f"{name}.npz", *MILLING, *band)
            assert keys["onset"] is False, (name, band)
