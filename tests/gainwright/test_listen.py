"""Listening to made-up recordings whose onset is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainwright.detector.settings import LEVEL_ONE
from gainwright.errors import InputError
from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright.listening.listen import listen
from gainwright.listening.onset import OnsetCause
from gainwright.listening.options import OPTIONS, ListenOptions, check_options
from gainwright.listening.summary import summary_text

from ..shared.recordings import RATE_HZ, growing, noise, recording, run_reference, sine, times_s

QUIET_NOISE = 0.01


def heard(torque, speed_error=None, **options):
    return listen(recording(torque, speed_error), ListenOptions(**options), run_reference)


@pytest.mark.parametrize("delay_ticks", [1, 2, 4])
def test_band_follows_from_the_delay(delay_ticks):
    """Pure delay: the lag 2 pi f Ts (d + 1) reaches a quarter turn at f = rate / (4 (d + 1))."""
    listening = heard(noise(2.0, QUIET_NOISE, 1), delay_ticks=delay_ticks)
    lowest_hz = RATE_HZ / (4 * (delay_ticks + 1))
    assert listening.band.lowest_oscillation_hz == pytest.approx(lowest_hz, rel=1e-9)
    assert listening.band.corner_hz == pytest.approx(0.6 * lowest_hz, rel=1e-9)


def test_control_tick_of_a_faster_drive():
    """A recording at a quarter of the drive's rate: the lag follows the drive, not the log."""
    listening = heard(noise(3.0, QUIET_NOISE, 1), control_tick_s=125e-6, delay_ticks=3)
    assert listening.band.lowest_oscillation_hz == pytest.approx(8000.0 / 16, rel=1e-9)


def test_current_loop_and_speed_filter_lower_the_band():
    alone = heard(noise(3.0, QUIET_NOISE, 1)).band.corner_hz
    current = heard(noise(3.0, QUIET_NOISE, 1), current_loop_s=1e-3).band.corner_hz
    both = heard(noise(3.0, QUIET_NOISE, 1), current_loop_s=1e-3, speed_filter_s=1e-3)
    assert both.band.corner_hz < current < alone


@pytest.mark.parametrize("frequency_hz", [260.0, 400.0, 700.0])
def test_level_of_a_sine_at_its_threshold(frequency_hz):
    """A sine as large as the threshold has level 256, less what the high-pass takes.

    |H|^2 = 1 / (1 + (fc/f)^8), a Butterworth high-pass of fourth order, frequencies warped by the
    bilinear transform (textbook).
    """
    amplitude = 0.2
    listening = heard(
        sine(1.5, frequency_hz, amplitude),
        burst_per_unit=amplitude,
        silence_per_unit=amplitude,
        ringing_seconds=10.0,
    )
    corner, at = (math.tan(math.pi * f / RATE_HZ) for f in (listening.band.corner_hz, frequency_hz))
    expected = LEVEL_ONE / (1 + (corner / at) ** 8)
    settled = listening.ring.starts_s >= listening.band.settling_s
    # The ring block holds so many periods that a part of one does not matter.
    assert np.mean(listening.ring.values[settled]) == pytest.approx(expected, rel=0.02, abs=1.0)


@pytest.mark.parametrize("frequency_hz", [270.0, 430.0, 800.0])
@pytest.mark.parametrize("growth_per_s", [3.0, 20.0])
def test_growing_oscillation_is_reported_when_it_crosses(frequency_hz, growth_per_s):
    """With thresholds given, the time at which the amplitude equals the threshold is known."""
    threshold, crossing_s = 0.1, 2.0
    torque = growing(3.0, frequency_hz, crossing_s, threshold, growth_per_s)
    listening = heard(
        torque + noise(3.0, 1e-4, 3), burst_per_unit=threshold, silence_per_unit=threshold
    )
    onset = listening.onset
    assert onset is not None and onset.cause is OnsetCause.BURST
    # A block of a part of a period can hold up to twice a sine's mean energy; the filter may add
    # its delay and, next to its corner, take up to a tenth of the amplitude.
    early_s = math.log(math.sqrt(2.0)) / growth_per_s
    late_s = math.log(1.2) / growth_per_s + 3 * listening.burst.seconds + 0.005
    assert crossing_s - early_s <= onset.time_s <= crossing_s + late_s
    assert listening.onset_frequency_hz == pytest.approx(frequency_hz, abs=4.0)


def test_calibration_takes_the_strongest_quiet_block_times_the_factor():
    torque, error = sine(2.0, 400.0, 0.05), sine(2.0, 400.0, 0.003)
    listening = heard(torque, error, quiet_factor=3.0)
    gain = 1 / math.sqrt(1 + (math.tan(math.pi * 150 / 2000) / math.tan(math.pi * 0.2)) ** 8)
    thresholds = listening.thresholds
    # A burst block is 1.2 periods of 250 Hz, two of 400 Hz: its energy is exact.
    assert thresholds.burst.amplitude_per_unit == pytest.approx(3 * 0.05 * gain, rel=1e-3)
    assert thresholds.silence.amplitude_per_unit == pytest.approx(3 * 0.003 * gain, rel=1e-3)
    assert thresholds.burst.calibrated and thresholds.silence.calibrated
    assert listening.onset is None
    settled = listening.burst.starts_s >= listening.band.settling_s
    assert set(listening.burst.values[settled]) <= {LEVEL_ONE // 9, LEVEL_ONE // 9 - 1}


@pytest.mark.parametrize("seed", range(4))
def test_stationary_noise_is_no_onset(seed):
    """The strongest of 12 s stays 3 dB below a threshold from the first second of it."""
    listening = heard(noise(12.0, 0.02, seed), noise(12.0, 0.001, 100 + seed))
    settled = listening.burst.starts_s >= listening.band.settling_s
    assert listening.onset is None
    assert listening.burst.values[settled].max() < LEVEL_ONE // 2


def test_loud_motion_below_the_band_is_not_heard():
    """A swing at 3 Hz, a thousand times as loud as what grows in the band, is no onset."""
    calm = noise(4.0, 0.001, 5)
    swing = sine(4.0, 3.0, 1.0) * (times_s(4.0) > 1.5)
    assert heard(calm + swing * np.minimum(1.0, (times_s(4.0) - 1.5) * 2)).onset is None
    with_onset = heard(calm + growing(4.0, 310.0, 3.0, 0.01, 10.0) + sine(4.0, 3.0, 1.0))
    assert with_onset.onset is not None
    assert 2.5 < with_onset.onset.time_s < 3.2


def test_steady_line_in_the_band_is_ignored_and_not_taken_for_the_oscillation():
    steady = sine(4.0, 333.0, 0.05) + noise(4.0, 0.002, 6)
    assert heard(steady).onset is None
    listening = heard(steady + growing(4.0, 521.0, 3.0, 0.08, 12.0))
    assert listening.onset is not None and 2.7 < listening.onset.time_s < 3.2
    assert listening.onset_frequency_hz == pytest.approx(521.0, abs=6.0)


def test_a_recording_that_begins_in_mid_motion():
    """The jump at the first sample is neither onset nor part of the calibration."""
    calm = noise(3.0, QUIET_NOISE, 7)
    plain, moved = heard(calm), heard(calm + 3.0)
    assert moved.onset is None
    for name in ("burst", "silence"):
        threshold = getattr(moved.thresholds, name).amplitude_per_unit
        assert threshold == pytest.approx(
            getattr(plain.thresholds, name).amplitude_per_unit, rel=1e-3
        )
    given = heard(calm + 3.0, burst_per_unit=0.1, silence_per_unit=0.1, ringing_seconds=0.01)
    assert given.burst.values.max() > LEVEL_ONE  # the transient is there
    assert given.onset is None


@pytest.mark.parametrize(
    ("rings_s", "gap", "expected_s"), [(4.0, False, 4.0), (2.7, False, None), (4.0, True, None)]
)
def test_lasting_ringing_is_onset_without_any_burst(rings_s, gap, expected_s):
    """Onset after 3 s without a silent block; one silent block starts the time again."""
    error = 1e-4 * noise(6.0, 1.0, 8)
    time_s = times_s(6.0)
    error += sine(6.0, 300.0, 0.02) * ((time_s >= 1.0) & (time_s < 1.0 + rings_s))
    if gap:
        error[(time_s >= 3.0) & (time_s < 3.15)] *= 0.001
    torque = noise(6.0, QUIET_NOISE, 9)
    listening = heard(torque, error, quiet_seconds=0.9, silence_per_unit=1e-3)
    if expected_s is None:
        assert listening.onset is None
        return
    assert listening.onset is not None and listening.onset.cause is OnsetCause.RINGING
    assert listening.onset.time_s == pytest.approx(expected_s, abs=2 * listening.ring.seconds)
    assert listening.onset_frequency_hz == pytest.approx(300.0, abs=3.0)
    assert "not silent for 3 s" in summary_text(listening)


@pytest.mark.parametrize(("share", "rings"), [(0.95, True), (1.05, False)])
def test_ringing_is_measured_against_its_threshold(share, rings):
    error = sine(5.0, 400.0, 0.02)
    listening = heard(
        noise(5.0, QUIET_NOISE, 9), error, burst_per_unit=1.0, silence_per_unit=0.02 * share
    )
    assert (listening.onset is not None) == rings


def test_defaults_judge_as_the_shipped_trial_does():
    trial = load_trial(shipped_trial_path())
    # The trial listens again on the next move where one does not decide; a recording has one.
    # A listening ends with these blocks, of up to 0.1 s; the time-out leaves room for slow drives.
    assert 0.1 * trial.constant("hidden_blocks_needed") <= ListenOptions().ringing_seconds
    assert trial.constant("burst_threshold") == LEVEL_ONE
    assert trial.constant("silence_threshold") == LEVEL_ONE


def test_the_first_of_two_causes_counts():
    error = 1e-4 * noise(6.0, 1.0, 8) + sine(6.0, 300.0, 0.02) * (times_s(6.0) >= 1.0)
    torque = noise(6.0, QUIET_NOISE, 9)
    late, early = (
        heard(torque + growing(6.0, 410.0, at_s, 0.1, 20.0), error, silence_per_unit=1e-3)
        for at_s in (5.0, 3.0)
    )
    assert late.onset is not None and late.onset.cause is OnsetCause.RINGING
    assert early.onset is not None and early.onset.cause is OnsetCause.BURST


def test_oscillation_that_ends_at_its_onset_gives_the_frequency():
    """The drive lowers its gain at once; what follows is another, weaker line."""
    time_s, threshold = times_s(3.0), 0.1
    torque = growing(3.0, 430.0, 2.0, threshold, 20.0) * (time_s < 2.01)
    torque += sine(3.0, 700.0, 0.4 * threshold) * (time_s >= 2.01)
    listening = heard(torque + noise(3.0, 1e-4, 3), burst_per_unit=threshold, silence_per_unit=1.0)
    assert listening.onset is not None and listening.onset.time_s < 2.012
    assert listening.onset_frequency_hz == pytest.approx(430.0, abs=5.0)


def test_a_block_across_the_end_of_the_quiet_part_does_not_count():
    calm = noise(2.0, QUIET_NOISE, 18)
    tone = sine(2.0, 800.0, 1.0) * (times_s(2.0) >= 0.9985)
    plain, loud = (heard(signal, quiet_seconds=0.9985) for signal in (calm, calm + tone))
    assert loud.burst.values.max() > 16 * LEVEL_ONE
    assert loud.thresholds == plain.thresholds


def test_loud_motion_after_standstill_is_no_onset():
    """Whatever part is stated as quiet: noise that sets in does not grow at one frequency."""
    moving = times_s(5.0) >= 1.2
    torque = noise(5.0, 1e-4, 10) + moving * noise(5.0, 0.02, 11)
    for stated in ({}, {"quiet_from_s": 0.0}, {"quiet_from_s": 1.5}):
        assert heard(torque, **stated).onset is None
    assert heard(torque).thresholds.quiet.from_s > 1.0


def test_one_threshold_given_and_the_other_calibrated():
    listening = heard(noise(3.0, QUIET_NOISE, 12), burst_per_unit=0.5)
    assert listening.thresholds.burst.amplitude_per_unit == 0.5
    assert not listening.thresholds.burst.calibrated
    assert listening.thresholds.silence.calibrated


def test_an_onset_needs_no_recording_after_it():
    torque = noise(2.0, QUIET_NOISE, 13) + growing(2.0, 320.0, 1.98, 0.1, 30.0)
    listening = heard(torque)
    assert listening.onset is not None and listening.onset.time_s > 1.9
    assert listening.onset_frequency_hz == pytest.approx(320.0, abs=10.0)


NAN = float("nan")


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"band_from_hz": 0.0}, "--band-from"),
        ({"band_from_hz": -5.0}, "--band-from"),
        ({"control_tick_s": NAN}, "--control-tick"),
        ({"delay_ticks": 0}, "--delay-ticks"),
        ({"delay_ticks": 101}, "--delay-ticks"),
        ({"current_loop_s": -1e-3}, "--current-loop-s"),
        ({"speed_filter_s": math.inf}, "--speed-filter-s"),
        ({"burst_per_unit": -0.1}, "--burst"),
        ({"burst_per_unit": 17.0}, "below 16 per unit"),
        ({"silence_per_unit": 0.0}, "--silence"),
        ({"quiet_from_s": -1.0}, "--quiet-from"),
        ({"quiet_seconds": 0.0}, "--quiet-seconds"),
        ({"quiet_factor": 1.0}, "--quiet-factor"),
        ({"quiet_factor": NAN}, "--quiet-factor"),
        ({"quiet_factor": 16.5}, "--quiet-factor"),
        ({"ringing_seconds": NAN}, "--ringing-seconds"),
        ({"band_from_hz": 100.0, "delay_ticks": 2}, "together with --delay-ticks"),
    ],
)
def test_options_that_no_recording_fits(options, message):
    with pytest.raises(InputError, match=message):
        check_options(ListenOptions(**options))


def test_all_bad_options_are_named_at_once():
    with pytest.raises(InputError) as error:
        check_options(ListenOptions(burst_per_unit=-1.0, quiet_factor=0.5, delay_ticks=0))
    assert len(error.value.problems) == 3


def test_every_option_has_its_name():
    assert set(OPTIONS) == set(ListenOptions.__dataclass_fields__)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"band_from_hz": 801.0}, "up to 800 Hz"),
        ({"control_tick_s": 50e-6, "delay_ticks": 1}, "record at a higher rate"),
        ({"band_from_hz": 0.2}, "16384 samples"),
        ({"speed_filter_s": 10.0, "current_loop_s": 10.0}, "by the drive's timing"),
        ({"quiet_seconds": 2.0}, "a recording of 2 s"),
        ({"quiet_from_s": 5.0}, "ends before the recording does"),
        ({"quiet_seconds": 0.1}, "at least --quiet-seconds 0.1"),
        ({"burst_per_unit": 1e-6}, "what the detector resolves"),
    ],
)
def test_options_that_do_not_fit_this_recording(options, message):
    with pytest.raises(InputError, match=message):
        heard(noise(2.0, QUIET_NOISE, 14), **options)


def test_the_stated_shortest_quiet_part_is_enough():
    torque = noise(2.0, QUIET_NOISE, 15)
    with pytest.raises(InputError) as error:
        heard(torque, quiet_seconds=0.01)
    seconds = float(error.value.problems[0].remedy.split()[-1])
    assert heard(torque, quiet_seconds=seconds).onset is None
