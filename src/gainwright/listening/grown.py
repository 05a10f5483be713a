"""Onset by the trial's own principle: a line that grew, until the detector reports a burst."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gainwright.listening.band import Band
from gainwright.listening.blocks import Blocks
from gainwright.listening.growth import Growth, Spectra, find_growth, spectra_around
from gainwright.listening.motion import Motion
from gainwright.listening.reference import QUANTILE, QuietPart, Windows
from gainwright.listening.steady import SteadyLine

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

BURST_SPAN = 4
"""Two of so many blocks in succession make a burst: one alone may be a blow. Not the next one, as
an oscillation that beats with another has blocks between that are less strong."""
PARTS = (0.25, 0.5, 0.75)
"""Where in a window its spectrum is taken."""
OWN_SHARE = 0.4
"""A window in which the line has this share of the band is no reference for it."""
LINE_SHARE = 0.2
"""The line has this share of the band from its growth to the burst."""
LATEST_S = 1.0
CLEARLY_ABOVE, PURE_ABOVE = 2.0, 1.4
"""... and goes on to this multiple of the threshold: a line that turns round at it is no onset. A
pure growth needs less."""
LATEST_SHARE = 2.0
"""The burst, and what it grows to, follow within the longer of this time and this multiple of the
fit's length."""
LEAST_OF_TORQUE = 0.03
"""The line grows to this share of the largest torque before it: resonances that ripple passes at
some speed grow as purely, but to less. A trial's own burst threshold is of this order."""
JUST_BEFORE_S = 0.5
STRONG_QUANTILE = 0.9
SIMILAR_SPEED = 0.7
"""So long before a growth, blocks at so much of its speed are half as strong at most as what it
leads to, but for one in ten."""
FEWEST_BLOCKS = 3
"""Blocks at or above the threshold that a grown line must reach."""
LONGEST_GAP = 5
"""Blocks below the threshold that do not end a burst that lasts."""
COMPARABLE_SPEED = 0.5
"""A quiet part compares with motion up to twice as fast ..."""
SAME_SPEED = 1.2
"""... or else the speed must not rise by more than this factor while the line grows ..."""
WITH_REFERENCE = 1.5
"""... nor by more than this one, unless the growth is pure, where the quiet part compares."""
STEADY_ABOVE = 2.0
"""A line that is there at once counts from this multiple of the threshold on."""

ThresholdOf = Callable[[Mask], tuple[float, QuietPart | None] | None]
"""From the windows that may serve as reference to a burst threshold and where it was found."""


@dataclass(frozen=True, slots=True)
class Search:
    """What a search for onset works on."""

    torque: FloatArray
    """Band-passed, per unit, shape (samples,)."""
    whole_torque: FloatArray
    """As recorded, per unit."""
    blocks: Blocks
    """Its amplitudes in burst blocks."""
    band: Band
    motion: Motion
    windows: Windows
    spectra: Spectra
    """Of the torque at PARTS of each window, shape (windows * parts, bins)."""
    threshold_of: ThresholdOf


@dataclass(frozen=True, slots=True)
class Grown:
    """An oscillation that is onset, with its evidence."""

    burst_s: float
    """Last sample of the first of its blocks at or above the threshold."""
    line: Growth | SteadyLine
    threshold: float
    quiet: QuietPart | None


def find_grown(search: Search) -> tuple[Grown | None, Growth | None]:
    """Return the first onset by growth, and the first growth that had nothing to compare with."""
    uncompared, tried = None, []
    for growth in find_growth(search.torque, search.band.sample_rate_hz, _lowest(search)):
        if any(_nearly(growth, other) for other in tried):
            continue
        tried.append(growth)
        strong = search.blocks.values.max(initial=0.0)
        if strong < growth.amplitude:
            continue
        own = _own(search, growth)
        reference = search.threshold_of(~own)
        if reference is None:
            uncompared = uncompared or growth
            continue
        threshold, quiet = reference
        burst_s = _burst_after(search, growth, threshold)
        if burst_s is None or not (_matters(search, growth) and _new(search, growth, own)):
            continue
        if _compares(search, growth, quiet, burst_s):
            return Grown(burst_s, growth, threshold, quiet), None
        uncompared = uncompared or growth
    return None, uncompared


def own_windows(search: Search, frequency_hz: float, from_s: float, to_s: float) -> Mask:
    """Return which windows an oscillation makes up, so that they are no reference for it.

    Those that overlap its growth, those after it in which the line stands out, and those before it
    in which the line never gives way: there it had begun already.
    """
    windows = search.windows
    shares = search.spectra.share(frequency_hz).reshape(-1, len(PARTS))
    stands_out = shares > OWN_SHARE
    margin_s = min(to_s - from_s, windows.seconds)
    own = (windows.to_s > from_s - margin_s) & (windows.from_s < to_s)
    own |= (windows.from_s >= to_s) & stands_out.any(axis=1)
    for index in np.flatnonzero(windows.to_s <= from_s - margin_s)[::-1]:
        if not stands_out[index].all():
            break
        own[index] = True
    return own


def window_spectra(torque: FloatArray, band: Band, windows: Windows) -> Spectra:
    """Return the spectra by which windows are told to be an oscillation's own."""
    times_s = windows.from_s[:, None] + windows.seconds * np.array(PARTS)
    return spectra_around(torque, band.sample_rate_hz, times_s.ravel(), band.lowest_oscillation_hz)


def bursts(blocks: Blocks, threshold: float, settled_s: float) -> Mask:
    """Return which blocks complete a burst: at or above a threshold, and not for the first time."""
    over = (blocks.values >= threshold) & (blocks.starts_s >= settled_s)
    before = np.zeros(len(over), dtype=bool)
    for back in range(1, BURST_SPAN):
        before[back:] |= over[:-back]
    return over & before


def _burst_after(search: Search, growth: Growth, threshold: float) -> float | None:
    """Return the end of the first block at or above the threshold that the line grew to."""
    values, ends_s = search.blocks.values, search.blocks.ends_s
    latest_s = _latest_s(growth)
    middle_s = 0.5 * (growth.from_s + growth.to_s)
    strong = (values >= threshold) & (search.blocks.starts_s >= search.band.settling_s)
    found = np.flatnonzero(strong & (ends_s >= middle_s) & (ends_s <= latest_s))
    enough = (PURE_ABOVE if growth.pure else CLEARLY_ABOVE) * threshold
    if len(found) < FEWEST_BLOCKS or values[found].max() < enough:
        return None
    burst_s = float(ends_s[found[0]])
    between = np.linspace(min(growth.to_s, burst_s), burst_s, 5)
    if np.median(_share(search, between, growth.frequency_hz)) <= LINE_SHARE:
        return None
    earliest_s = growth.from_s - (growth.to_s - growth.from_s)
    strong &= ends_s >= earliest_s
    return first_of_run(search, strong, int(found[0]), growth.frequency_hz)


def _matters(search: Search, growth: Growth) -> bool:
    """Whether the growth leads to a share of the torque that the axis takes before it anyway."""
    blocks = search.blocks
    span = (blocks.ends_s >= growth.from_s) & (blocks.ends_s <= _latest_s(growth))
    peak = blocks.values[span].max(initial=0.0)
    return bool(
        peak >= LEAST_OF_TORQUE * largest_torque(search.whole_torque, growth.from_s, blocks)
    )


def largest_torque(torque: FloatArray, until_s: float, blocks: Blocks) -> float:
    """Return the largest torque up to a time, a thousandth of the samples left out.

    Where there is nothing before that time the whole recording counts. The median is taken off.
    """
    before = torque[: round(until_s * blocks.sample_rate_hz)]
    values = before if len(before) else torque
    return float(np.quantile(np.abs(values - np.median(values)), 0.999))


def _new(search: Search, growth: Growth, own: Mask) -> bool:
    """Whether the growth leads beyond what there had been before it, of this line or at this speed.

    A resonance that noise or speed keeps ringing grows again and again, never much beyond itself.
    """
    windows, blocks = search.windows, search.blocks
    span = (blocks.ends_s >= growth.from_s) & (blocks.ends_s <= _latest_s(growth))
    peak = blocks.values[span].max(initial=0.0)
    line_before = windows.strongest[own & (windows.to_s <= growth.from_s)]
    just_before = blocks.values[_just_before(search, growth)]
    limits = ((line_before, QUANTILE, PURE_ABOVE), (just_before, STRONG_QUANTILE, CLEARLY_ABOVE))
    return all(
        len(values) == 0 or peak >= factor * float(np.quantile(values, quantile))
        for values, quantile, factor in limits
    )


def _just_before(search: Search, growth: Growth) -> Mask:
    """Return the blocks shortly before a growth, where the axis was about as fast already."""
    blocks, speed = search.blocks, search.motion.speed
    before = (blocks.starts_s >= growth.from_s - JUST_BEFORE_S) & (blocks.ends_s <= growth.from_s)
    if speed is not None:
        at_block = speed[blocks.length - 1 :: blocks.length][: len(before)]
        during = search.motion.speed_between(growth.from_s, growth.to_s, blocks.sample_rate_hz)
        assert during is not None
        before &= at_block >= SIMILAR_SPEED * during
    return before


def _latest_s(growth: Growth) -> float:
    return growth.to_s + max(LATEST_S, LATEST_SHARE * (growth.to_s - growth.from_s))


def first_of_run(search: Search, strong: Mask, block: int, frequency_hz: float) -> float:
    """Return the end of the first block from which on the same line was above the threshold."""
    ends_s = search.blocks.ends_s
    first = block
    for earlier in np.flatnonzero(strong[:block])[::-1]:
        if first - earlier > LONGEST_GAP:
            break
        if _share(search, ends_s[earlier : earlier + 1], frequency_hz)[0] <= LINE_SHARE:
            break
        first = int(earlier)
    return float(ends_s[first])


def _compares(search: Search, growth: Growth, quiet: QuietPart | None, burst_s: float) -> bool:
    """Whether the reference was as fast as the burst, or the speed has no part in the growth."""
    if quiet is None or quiet.speed is None or not quiet.found:
        return True
    rate_hz, block_s = search.band.sample_rate_hz, search.blocks.seconds
    during = search.motion.speed_between(burst_s - 2 * block_s, burst_s, rate_hz)
    assert during is not None
    if quiet.speed >= COMPARABLE_SPEED * during and growth.pure:
        return True
    part_s = 0.25 * (growth.to_s - growth.from_s)
    before = search.motion.speed_between(growth.from_s, growth.from_s + part_s, rate_hz)
    after = search.motion.speed_between(growth.to_s - part_s, growth.to_s, rate_hz)
    assert before is not None and after is not None
    allowed = WITH_REFERENCE if quiet.speed >= COMPARABLE_SPEED * during else SAME_SPEED
    return after <= allowed * max(before, search.motion.least_speed)


def _own(search: Search, growth: Growth) -> Mask:
    return own_windows(search, growth.frequency_hz, growth.from_s, growth.to_s)


def _nearly(growth: Growth, other: Growth) -> bool:
    same_end = abs(growth.to_s - other.to_s) < 0.1 * (growth.to_s - growth.from_s)
    return same_end and abs(growth.frequency_hz - other.frequency_hz) < 0.03 * growth.frequency_hz


def _share(search: Search, times_s: FloatArray, frequency_hz: float) -> FloatArray:
    rate_hz = search.band.sample_rate_hz
    return spectra_around(search.torque, rate_hz, times_s, _lowest(search)).share(frequency_hz)


def _lowest(search: Search) -> float:
    return search.band.lowest_oscillation_hz
