"""The exported detector beside one in double precision, on drawn signals.

The double-precision detector has the coefficients as designed, no saturation below the limits of a
signal, no rounding, and thresholds that are no integers. A signal is what a loop near its limit
shows: an oscillation that grows from below a count of the encoder to a burst, with noise and a slow
motion below the band.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import sosfilt

from gainwright.detector.settings import (
    HEADROOM_BITS,
    LEVEL_ONE,
    LEVEL_SCALE_BITS,
    DetectorSettings,
    LevelSettings,
)
from gainwright_codegen.host.detector import CompiledDetector

SIGNALS = 40
_BLOCKS = 60
"""Blocks of ringing in each signal."""
_SEED = 20_10
_LEAST_LEVEL, _MOST_LEVEL = 0.25 * LEVEL_ONE, 16 * LEVEL_ONE
"""Where a level can decide something."""
_SIGNAL_LIMIT = 2**28 - 1


@dataclass(frozen=True, slots=True)
class Comparison:
    """Of levels at block ends, over all signals."""

    signals: int
    blocks: int
    """Compared, with a level that can decide something."""
    largest_difference: float
    """|fixed - double| of a level, relative."""
    mean_difference: float
    """fixed - double, relative."""
    decided_otherwise: int
    """Blocks on the other side of the threshold."""
    onset_otherwise: int
    """Signals whose first burst falls into another block."""


def compare(settings: DetectorSettings, control_tick_s: float, count_raw: float) -> Comparison:
    """Run both detectors over the drawn signals.

    Args:
        settings: of one stage.
        control_tick_s: control tick [s].
        count_raw: one encoder count per tick as speed, raw Q4.24.

    Raises:
        InputError: no C compiler was found.
    """
    source = np.random.default_rng(_SEED)
    compiled = CompiledDetector(settings)
    sections = np.array(
        [
            [s.designed.b0, s.designed.b1, s.designed.b2, 1.0, s.designed.a1, s.designed.a2]
            for s in settings.quantised
        ]
    )
    differences, otherwise, moved = list[NDArray[np.float64]](), 0, 0
    for _ in range(SIGNALS):
        torque, speed = _drawn(settings, control_tick_s, count_raw, source)
        compiled.reset()
        fixed = compiled.run(torque, speed)
        onsets = list[int]()
        for levels, signal, band in (
            (fixed[0], speed, settings.ring),
            (fixed[1], torque, settings.burst),
        ):
            ends = levels[band.block_ticks - 1 :: band.block_ticks].astype(float)
            exact = _exact_levels(sosfilt(sections, signal), band)[: len(ends)]
            clear = (exact >= _LEAST_LEVEL) & (exact <= _MOST_LEVEL)
            differences.append(ends[clear] / exact[clear] - 1.0)
            otherwise += int(np.sum((ends >= LEVEL_ONE) != (exact >= LEVEL_ONE)))
            onsets += [_first(ends), _first(exact)]
        moved += onsets[2] != onsets[3]
    every = np.concatenate(differences)
    return Comparison(
        signals=SIGNALS,
        blocks=len(every),
        largest_difference=float(np.max(np.abs(every), initial=0.0)),
        mean_difference=float(np.mean(every)) if len(every) else 0.0,
        decided_otherwise=otherwise,
        onset_otherwise=moved,
    )


def _first(levels: NDArray[np.float64]) -> int:
    """Return the first block with a level at its threshold, -1 if there is none."""
    above = np.flatnonzero(levels >= LEVEL_ONE)
    return int(above[0]) if len(above) else -1


def _exact_levels(filtered: NDArray[np.float64], band: LevelSettings) -> NDArray[np.float64]:
    blocks = len(filtered) // band.block_ticks
    squares = (filtered[: blocks * band.block_ticks] / 2**HEADROOM_BITS) ** 2
    energy = squares.reshape(blocks, band.block_ticks).sum(axis=1)
    threshold = LEVEL_ONE * 2**LEVEL_SCALE_BITS * 2.0**band.shift / band.scale
    return np.asarray(LEVEL_ONE * energy / threshold)


def _drawn(
    settings: DetectorSettings,
    control_tick_s: float,
    count_raw: float,
    source: np.random.Generator,
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    ticks = _BLOCKS * settings.ring.block_ticks
    time = np.arange(ticks) * control_tick_s
    low, high = settings.corner_hz / 0.6, 0.25 / control_tick_s
    frequency = min(low * 2.0 ** source.uniform(0.0, 2.0), high)
    phase = 2 * math.pi * frequency * time + source.uniform(0.0, 2 * math.pi)
    # From a tenth of the threshold of ringing to four times that of a burst.
    envelope = np.exp(np.linspace(0.0, 1.0, ticks) * source.uniform(0.5, 1.0) * math.log(100.0))
    slow = np.sin(2 * math.pi * 0.02 * settings.corner_hz * time)
    noise = source.normal(0.0, 1.0, (2, ticks))
    ring, burst = (_amplitude(band) for band in (settings.ring, settings.burst))
    speed = ring * (0.2 * envelope * np.sin(phase) + 0.1 * noise[0]) + 0.02 * 2**24 * slow
    speed = np.round(speed / count_raw) * count_raw if count_raw >= 1.0 else speed
    torque = burst * (0.04 * envelope * np.cos(phase) + 0.05 * noise[1]) + 0.3 * 2**24 * slow
    torque_raw, speed_raw = (
        np.clip(np.round(part), -_SIGNAL_LIMIT - 1, _SIGNAL_LIMIT).astype(np.int32)
        for part in (torque, speed)
    )
    return torque_raw, speed_raw


def _amplitude(band: LevelSettings) -> float:
    """Return the amplitude of a sine at the threshold of a level, raw Q4.24."""
    energy = LEVEL_ONE * 2.0 ** (LEVEL_SCALE_BITS + band.shift) / band.scale
    return 2**HEADROOM_BITS * math.sqrt(2.0 * energy / band.block_ticks)
