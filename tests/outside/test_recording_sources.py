"""Reads open recordings by others and finds in them what is published about them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.io import loadmat
from scipy.signal import butter, csd, sosfiltfilt, welch

from gainwright.errors import InputError
from gainwright.recording.read import read_recording
from gainwright.recording.recording import ChannelChoice

from .recorded_data import recorded_file


@pytest.mark.parametrize("name", ["DATA_EMPS.mat", "DATA_EMPS_PULSES.mat"])
def test_positioning_axis_has_its_published_mass_and_friction(name):
    """Janot, Gautier, Brunot 2019: 95.1 kg, 203.5 N s/m, 20.4 N, offset -3.2 N.

    Inverse-model least squares on low-passed signals; the command already holds the force pulses
    of the second file.
    """
    path = recorded_file(f"positioning_axis/{name}")
    force_constant_n_per_v = float(loadmat(path)["gtau"].item())
    recording = read_recording(path, ChannelChoice("vir", position="qm", time="t"))
    assert recording.samples == 24841
    assert recording.sample_rate_hz == pytest.approx(1000.0, rel=1e-4)
    speed_mps = -recording.speed_error_per_unit
    assert np.max(np.abs(speed_mps)) == pytest.approx(0.128, abs=0.01)

    low_pass = butter(4, 50.0, fs=recording.sample_rate_hz, output="sos")
    smooth_mps = sosfiltfilt(low_pass, speed_mps)
    acceleration = np.gradient(smooth_mps, 1.0 / recording.sample_rate_hz)
    causes = [acceleration, smooth_mps, np.sign(smooth_mps), np.ones_like(smooth_mps)]
    force_n = sosfiltfilt(low_pass, recording.torque_per_unit * force_constant_n_per_v)
    smooth_causes = np.column_stack([sosfiltfilt(low_pass, cause) for cause in causes])
    moving = np.abs(smooth_mps) > 0.002
    fit, *_ = np.linalg.lstsq(smooth_causes[moving], force_n[moving], rcond=None)
    assert fit[:3] == pytest.approx((95.1, 203.5, 20.4), rel=0.04)
    assert fit[3] == pytest.approx(-3.2, abs=0.2)


def test_positioning_axis_tracking_error_by_difference():
    """Peak tracking error 0.85 mm: the difference of the position error sums up to it again."""
    path = recorded_file("positioning_axis/DATA_EMPS.mat")
    choice = ChannelChoice("vir", position="qm", position_reference="qg", time="t")
    recording = read_recording(path, choice)
    error_m = np.cumsum(recording.speed_error_per_unit) / recording.sample_rate_hz
    contents = loadmat(path)
    first = float(contents["qg"][0, 0] - contents["qm"][0, 0])
    assert np.max(np.abs(error_m + first)) == pytest.approx(0.85e-3, abs=0.02e-3)


def test_two_mass_bench_resonates_where_its_angles_say():
    """Beauduin 2014, Ohnishi 2019: anti-resonance 54.0 Hz, resonance 76.3 Hz from the angles."""
    path = recorded_file("two_mass_bench/MultisineTypeA.mat")
    channels = {"position": "theta_mx", "time": "time", "time_unit_s": 1e-6}
    choice = ChannelChoice("iq_adx", torque_base=10.0, speed_base=20.0, **channels)
    recording = read_recording(path, choice)
    assert recording.samples == 50_000
    assert recording.sample_rate_hz == pytest.approx(2500.0, rel=1e-9)
    settled = slice(2500, None)
    torque, speed = recording.torque_per_unit[settled], -recording.speed_error_per_unit[settled]
    frequency_hz, cross = csd(torque, speed, fs=2500.0, window="boxcar", nperseg=2500)
    _, power = welch(torque, fs=2500.0, window="boxcar", nperseg=2500)
    band = (frequency_hz >= 40.0) & (frequency_hz <= 100.0)
    gain = np.abs(cross[band] / power[band])
    assert frequency_hz[band][np.argmin(gain)] == pytest.approx(54.0, abs=1.0)
    assert frequency_hz[band][np.argmax(gain)] == pytest.approx(76.3, abs=1.0)


def test_both_files_of_the_two_mass_bench_are_read():
    for name in ("MultisineTypeA.mat", "MultisineTypeB.mat"):
        path = recorded_file(f"two_mass_bench/{name}")
        choice = ChannelChoice("iq_refx", speed="omega_max", sample_rate_hz=2500.0, torque_base=10)
        assert read_recording(path, choice).samples == 50_000


def test_two_mass_bench_names_what_is_there():
    path = recorded_file("two_mass_bench/MultisineTypeA.mat")
    choice = ChannelChoice("iq", speed="ref", sample_rate_hz=2500.0)
    with pytest.raises(InputError, match="theta_mx 50000"):
        read_recording(path, choice)
    with pytest.raises(InputError, match="iq_adx has 50000, ref has 2500"):
        read_recording(path, ChannelChoice("iq_adx", speed="ref", sample_rate_hz=2500.0))


def test_milling_onset_single_channel_for_both():
    """Rahimi 2021: band of 650 to 720 Hz, RMS 0.02 until 3.8 s, 0.40 at 4.0 s, gone by 5.0 s."""
    path = recorded_file("milling_onset/data.mat")
    recording = read_recording(
        path, ChannelChoice("data", speed_error="data", sample_rate_hz=10_000.0)
    )
    assert recording.samples == 80_018
    assert np.array_equal(recording.torque_per_unit, recording.speed_error_per_unit)
    band = butter(4, (650.0, 720.0), "bandpass", fs=10_000.0, output="sos")
    filtered = sosfiltfilt(band, recording.torque_per_unit)

    def rms(start_s: float) -> float:
        samples = filtered[int(start_s * 1e4) : int((start_s + 0.1) * 1e4)]
        return float(np.sqrt(np.mean(samples**2)))

    assert rms(3.5) < 0.04
    assert rms(4.0) == pytest.approx(0.4, abs=0.1)
    assert rms(4.7) > 0.7
    assert rms(5.2) < 0.1
