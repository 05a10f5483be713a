"""Lines in a spectrum that grow as an instability does: exponentially, at one frequency.

A linear loop just beyond its limit oscillates as A exp(s t) cos(w t + p) until something saturates.
What makes a healthy axis loud does otherwise: noise has no line, ripple that enters the band with
rising speed changes its frequency, a force or resonance that follows the speed grows like a power
of time (its logarithm bends down), a blow is there at once. So the amplitude of each line is
followed from frame to frame, at several frame lengths, and a straight line is fitted through its
logarithm; steepness, straightness, frequency and share of the band decide.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

FRAME_PERIODS = (3, 6, 12, 24, 48, 96, 192)
"""Frame lengths, in periods of the lowest oscillation frequency: for fast and for slow growth."""
LEAST_FRAME = 16
HOPS = 4
"""A frame begins a quarter of its length after the one before."""
LOWEST_SHARE = 0.55
"""Lines are sought from this share of the lowest oscillation frequency on."""
_TINY = 1e-12
_HANN_BINS = 1.5
"""A line's power spreads over this many bins of a Hann window."""


@dataclass(frozen=True, slots=True)
class _Demand:
    """What a fit over a number of frames must show; a pure one needs less of the band."""

    frames: int
    rise: float
    """Growth of the line's amplitude over the fit."""
    frequency_scatter: float
    straightness: float
    """Root mean square distance from the straight line, as a share of the rise."""
    share: float
    """Of the band's energy in the last frame."""
    total_rise: float
    """Growth of the whole band's amplitude: a line that only changes its bin makes none."""
    pure: bool
    """Whether the fit leaves no doubt by itself that the growth is exponential."""


_BEND = (0.6, 4.0)
"""Slope of the second half over that of the first: power laws bend down, a gain ladder up."""
_DEMANDS = (
    _Demand(9, 3.0, 0.015, 0.08, 0.7, 2.0, False),
    _Demand(13, 3.0, 0.02, 0.06, 0.6, 1.5, False),
    _Demand(13, 4.5, 0.006, 0.05, 0.08, 0.95, True),
)


@dataclass(frozen=True, slots=True)
class Growth:
    """One line that grew."""

    from_s: float
    to_s: float
    """Time of the fit, frames included, from the recording's first sample."""
    frequency_hz: float
    factor: float
    """Amplitude at the end of the fit over that at its beginning."""
    amplitude: float
    """At the end."""
    pure: bool
    """The fit leaves no doubt by itself that the growth is exponential."""


def find_growth(signal: FloatArray, sample_rate_hz: float, lowest_hz: float) -> list[Growth]:
    """Return every stretch in which a line grows, in the order of their ends; many may overlap.

    Args:
        signal: band-passed, shape (samples,).
        lowest_hz: lowest oscillation frequency.
    """
    found = [
        growth
        for periods in FRAME_PERIODS
        for growth in _at_length(signal, sample_rate_hz, lowest_hz, periods)
    ]
    return sorted(found, key=lambda growth: (growth.to_s, growth.from_s, growth.frequency_hz))


@dataclass(frozen=True, slots=True)
class Spectra:
    """Power spectra of pieces around some times."""

    power: FloatArray
    """Shape (times, bins); no unit, as only shares are read."""
    frequency_hz: FloatArray
    resolution_hz: float

    def share(self, frequency_hz: float) -> FloatArray:
        """Return which share of each piece's energy lies within 10 % of a frequency, 0 to 1."""
        width_hz = max(0.1 * frequency_hz, self.resolution_hz)
        near = np.abs(self.frequency_hz - frequency_hz) < width_hz
        return self.power[:, near].sum(axis=1) / np.maximum(self.power.sum(axis=1), _TINY**2)


def spectra_around(
    signal: FloatArray, sample_rate_hz: float, times_s: FloatArray, lowest_hz: float
) -> Spectra:
    """Return the spectra of 16 periods of the lowest oscillation frequency around each time."""
    length = min(len(signal), round(16 * sample_rate_hz / lowest_hz))
    starts = np.rint(times_s * sample_rate_hz).astype(int) - length // 2
    starts = np.clip(starts, 0, len(signal) - length)
    pieces = signal[starts[:, None] + np.arange(length)] * np.hanning(length)
    return Spectra(
        np.abs(np.fft.rfft(pieces, 4 * length, axis=1)) ** 2,
        np.fft.rfftfreq(4 * length, 1.0 / sample_rate_hz),
        _HANN_BINS * sample_rate_hz / length,
    )


@dataclass(frozen=True, slots=True)
class Frames:
    """Hann-windowed spectra of overlapping frames."""

    spectra: npt.NDArray[np.complex128]
    """Scaled so that a sine gives its amplitude, shape (frames, bins)."""
    length: int
    """Samples in a frame."""
    hop: int
    sample_rate_hz: float

    @property
    def bin_hz(self) -> float:
        """Distance of two bins."""
        return self.sample_rate_hz / self.length

    def start_s(self, frame: int) -> float:
        """Time of a frame's first sample."""
        return frame * self.hop / self.sample_rate_hz


def frames_of(
    signal: FloatArray, sample_rate_hz: float, lowest_hz: float, periods: int
) -> Frames | None:
    """Return frames of this many periods; None if too few samples make one, or too few frames."""
    length = round(periods * sample_rate_hz / lowest_hz) // HOPS * HOPS
    if length < LEAST_FRAME or len(signal) < 6 * length:
        return None
    hop = length // HOPS
    window = np.hanning(length + 2)[1:-1]
    pieces = np.lib.stride_tricks.sliding_window_view(signal, length)[::hop]
    spectra = np.fft.rfft(pieces * (2.0 / window.sum() * window), axis=1)
    return Frames(spectra, length, hop, sample_rate_hz)


def _at_length(
    signal: FloatArray, sample_rate_hz: float, lowest_hz: float, periods: int
) -> Iterator[Growth]:
    frames = frames_of(signal, sample_rate_hz, lowest_hz, periods)
    if frames is None:
        return
    amplitude = np.abs(frames.spectra) + _TINY
    first = max(2, int(np.ceil(LOWEST_SHARE * lowest_hz / frames.bin_hz)))
    total = np.sqrt((amplitude[:, first:] ** 2).sum(axis=1) / _HANN_BINS)
    frequency_hz = _frequencies_hz(frames)
    for demand in _DEMANDS:
        if len(amplitude) > demand.frames:
            yield from _fits(frames, amplitude, total, frequency_hz, first, demand)


def _frequencies_hz(frames: Frames) -> FloatArray:
    """Return the frequency in each bin from the phase between frames, shape (frames - 1, bins)."""
    bins = np.arange(frames.spectra.shape[1])
    advance = np.exp(-2j * np.pi * bins * frames.hop / frames.length)
    turned = frames.spectra[1:] * np.conj(frames.spectra[:-1]) * advance
    beside_hz = np.angle(turned) / (2.0 * np.pi * frames.hop) * frames.sample_rate_hz
    return bins * frames.bin_hz + beside_hz


def _fits(
    frames: Frames,
    amplitude: FloatArray,
    total: FloatArray,
    frequency_hz: FloatArray,
    first: int,
    demand: _Demand,
) -> Iterator[Growth]:
    count = demand.frames
    logarithm = np.log(amplitude)
    slope, distance = _straight_line(logarithm, count)
    rise = slope * (count - 1)
    rose = np.log(total[count - 1 :] / np.maximum(total[: len(total) - count + 1], _TINY))
    ok = (rise > np.log(demand.rise)) & (distance < demand.straightness * rise)
    ok &= (_share(amplitude, total)[count - 1 :] > demand.share) & _bends_little(logarithm, count)
    ok &= (rose > np.log(demand.total_rise))[:, None]
    ok[:, :first] = False
    for frame, line in zip(*np.nonzero(ok), strict=True):
        found_hz = frequency_hz[frame : frame + count - 1, line]
        middle_hz = float(np.median(found_hz))
        drift_hz = found_hz[-4:].mean() - found_hz[:4].mean()
        if max(np.std(found_hz), abs(drift_hz)) < demand.frequency_scatter * middle_hz:
            last = frame + count - 1
            yield Growth(
                from_s=frames.start_s(frame),
                to_s=frames.start_s(last) + frames.length / frames.sample_rate_hz,
                frequency_hz=middle_hz,
                factor=float(np.exp(rise[frame, line])),
                amplitude=float(amplitude[last, line]),
                pure=demand.pure,
            )


def _share(amplitude: FloatArray, total: FloatArray) -> FloatArray:
    """Return the share of the band's energy in a bin and its two neighbours."""
    power = np.pad(amplitude**2, ((0, 0), (1, 1)))
    near = power[:, 1:-1] + power[:, :-2] + power[:, 2:]
    return near / _HANN_BINS / np.maximum(total, _TINY)[:, None] ** 2


def _weighted(values: FloatArray, weights: FloatArray, frames: int) -> FloatArray:
    return sum(weight * values[k : k + frames] for k, weight in enumerate(weights))


def _slope(values: FloatArray, count: int, frames: int) -> FloatArray:
    """Return least-squares slopes per frame over ``count`` frames from each frame on."""
    time = np.arange(count) - 0.5 * (count - 1)
    return _weighted(values, time / (time**2).sum(), frames)


def _straight_line(logarithm: FloatArray, count: int) -> tuple[FloatArray, FloatArray]:
    """Return slope and root mean square distance of the fit that begins at each frame."""
    frames = len(logarithm) - count + 1
    slope = _slope(logarithm, count, frames)
    even = np.full(count, 1.0 / count)
    centred = logarithm - logarithm.mean()  # keeps the difference of squares below exact enough
    mean, square = _weighted(centred, even, frames), _weighted(centred**2, even, frames)
    spread = slope**2 * (count**2 - 1) / 12.0
    return slope, np.sqrt(np.maximum(square - mean**2 - spread, 0.0))


def _bends_little(logarithm: FloatArray, count: int) -> npt.NDArray[np.bool_]:
    frames, half = len(logarithm) - count + 1, count // 2 + 1
    early = _slope(logarithm, half, frames)
    late = _slope(logarithm[count - half :], half, frames)
    return (early > 0.0) & (late > _BEND[0] * early) & (late < _BEND[1] * early)
