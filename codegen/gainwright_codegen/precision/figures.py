"""The figures of the report, for each stage of an export."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from gainwright.detector.settings import (
    HEADROOM_BITS,
    LEVEL_MAX,
    LEVEL_ONE,
    LEVEL_SCALE_BITS,
    DetectorSettings,
    LevelSettings,
)
from gainwright.fixed.biquad_quantise import (
    QuantisedSection,
    ResponseError,
    SectionError,
    largest_gain,
    response_error,
    section_error,
)
from gainwright.fixed.biquad_reference import BiquadReference
from gainwright_codegen.axis_c.tables import AxisData, StageTables
from gainwright_codegen.precision.compared import Comparison, compare

SIGNAL_HIGHEST = 2**28
_DIFFERENCE_HIGHEST = 2**30
"""x - 2 x1 + x2 of saturated values."""
_FRACTION = 2**30
_RUNS, _SETTLING_TIME_CONSTANTS, _LISTENED = 12, 40, 4000
_SEED = 54


@dataclass(frozen=True, slots=True)
class Coefficient:
    """One word of one section."""

    name: str
    designed: float
    word: int
    error_lsb: float


@dataclass(frozen=True, slots=True)
class LimitCycle:
    """What a filter still shows, at rest, long after drawn signals: its largest value."""

    largest_lsb: int
    period_ticks: int
    """0: it is constant; -1: no period was found."""
    bound_lsb: float
    """No error by rounding exceeds this, by theory."""


@dataclass(frozen=True, slots=True)
class Accumulator:
    """Largest magnitude that a sum may reach, and the width that it has."""

    what: str
    largest: int
    bits: int
    """Without the sign."""

    @property
    def used_bits(self) -> float:
        return math.log2(self.largest)


@dataclass(frozen=True, slots=True)
class Threshold:
    """Of a level: the amplitude of a sine that reaches it, and how coarse a level is there."""

    name: str
    amplitude_lsb: float
    step_relative: float
    """One unit of the level at its threshold."""
    scale_error: float
    """Relative, by the integer scale."""
    saturates_at: float
    """Times the threshold, as an amplitude."""


@dataclass(frozen=True, slots=True)
class StageFigures:
    stage: str
    coefficients: tuple[tuple[Coefficient, ...], ...]
    """By section."""
    sections: tuple[SectionError, ...]
    response: ResponseError
    gains: tuple[float, ...]
    """Largest |output| of each section and of the whole for |input| at most one."""
    noise_rms_lsb: float
    """Of the filtered signal, by rounding in both sections."""
    squared_noise_rms_lsb: float
    """The same with the bits that it loses before it is squared."""
    limit_cycle: LimitCycle
    accumulators: tuple[Accumulator, ...]
    thresholds: tuple[Threshold, ...]
    ladder_format: str
    ladder_error: float
    """Largest relative error of a rung."""
    ladder_step: float
    """Least relative distance of two rungs."""
    comparison: Comparison


def stage_figures(tables: StageTables, axis: AxisData) -> StageFigures:
    """Return the figures of one stage.

    Raises:
        InputError: no C compiler was found to run the exported detector.
    """
    settings, tick_s = tables.detector, axis.timing.control_tick_s
    rate_hz = 1.0 / tick_s
    errors = tuple(section_error(q, rate_hz) for q in settings.quantised)
    realised = [q.realised() for q in settings.quantised]
    gains = [largest_gain(section) for section in realised]
    # The second section passes the noise of the first with a gain of at most its largest.
    noise = math.hypot(errors[0].noise_rms_lsb * gains[1], errors[1].noise_rms_lsb)
    raw = tables.ladder.raw
    count = 2 * math.pi / axis.ratings.encoder_counts_per_turn / tick_s
    return StageFigures(
        stage=tables.stage.name,
        coefficients=tuple(tuple(_coefficients(q)) for q in settings.quantised),
        sections=errors,
        response=response_error(
            settings.quantised, rate_hz, settings.corner_hz / 2, 0.49 * rate_hz
        ),
        gains=(*gains, math.prod(gains)),
        noise_rms_lsb=noise,
        squared_noise_rms_lsb=math.hypot(noise, 2**HEADROOM_BITS / math.sqrt(12.0)),
        limit_cycle=limit_cycle(settings),
        accumulators=tuple(_accumulators(settings)),
        thresholds=(_threshold("ring", settings.ring), _threshold("burst", settings.burst)),
        ladder_format=str(tables.ladder.format),
        ladder_error=tables.ladder.relative_error_bound,
        ladder_step=min((b / a - 1 for a, b in pairwise(raw)), default=0.0),
        comparison=compare(settings, tick_s, count / axis.ratings.top_speed_rad_per_s * 2**24),
    )


def _coefficients(quantised: QuantisedSection) -> Iterator[Coefficient]:
    designed, words = quantised.designed, quantised.coefficients
    one = 2**quantised.format.fraction_bits
    for name, value, word in (
        ("b0", designed.b0, words.b0),
        ("a1", -designed.a1, words.a1),
        ("a2", -designed.a2, words.a2),
    ):
        yield Coefficient(name, value, word, word - value * one)


def _accumulators(settings: DetectorSettings) -> Iterator[Accumulator]:
    for number, words in enumerate(settings.sections):
        largest = (
            abs(words.b0) * _DIFFERENCE_HIGHEST
            + (abs(words.a1) + abs(words.a2)) * SIGNAL_HIGHEST
            + _FRACTION
        )
        yield Accumulator(f"sum of section {number + 1}", largest, 63)
    square = (SIGNAL_HIGHEST >> HEADROOM_BITS) ** 2
    for name, band in (("ring", settings.ring), ("burst", settings.burst)):
        yield Accumulator(f"energy of a {name} block", band.block_ticks * square, 63)
        yield Accumulator(f"level of a {name} block", (2**32 - 1) * band.scale, 64)


def _threshold(name: str, band: LevelSettings) -> Threshold:
    energy = LEVEL_ONE * 2.0 ** (LEVEL_SCALE_BITS + band.shift) / band.scale
    return Threshold(
        name=name,
        amplitude_lsb=2**HEADROOM_BITS * math.sqrt(2 * energy / band.block_ticks),
        step_relative=1 / LEVEL_ONE / 2,
        scale_error=0.5 / band.scale,
        saturates_at=math.sqrt(LEVEL_MAX / LEVEL_ONE),
    )


def limit_cycle(settings: DetectorSettings) -> LimitCycle:
    """Let the filter ring out after drawn signals; return the worst that stays.

    The integer filter has finitely many states, so what stays is constant or periodic.
    """
    source, worst, period = random.Random(_SEED), 0, 0
    radius = max(abs(pole) for q in settings.quantised for pole in q.realised().poles())
    settling = math.ceil(_SETTLING_TIME_CONSTANTS / max(1e-4, -math.log(radius)))
    for _ in range(_RUNS):
        sections = [BiquadReference(words) for words in settings.sections]
        for _ in range(64):
            _through(sections, source.randint(-SIGNAL_HIGHEST, SIGNAL_HIGHEST - 1))
        for _ in range(min(settling, 400_000)):
            _through(sections, 0)
        stays = [_through(sections, 0) for _ in range(_LISTENED)]
        largest = max(map(abs, stays))
        if largest >= worst:
            worst, period = largest, _period(stays)
    bounds = [section_error(q, 1.0).dead_band_lsb for q in settings.quantised]
    gain = largest_gain(settings.quantised[1].realised())
    return LimitCycle(worst, period, bounds[0] * gain + bounds[1])


def _through(sections: list[BiquadReference], signal: int) -> int:
    for section in sections:
        signal = section.step(signal)
    return signal


def _period(values: list[int]) -> int:
    if len(set(values)) == 1:
        return 0
    half = len(values) // 2
    for ticks in range(1, half):
        if values[:half] == values[ticks : ticks + half]:
            return ticks
    return -1
