"""The loop-response measurement of the exported ``gw_loop_response.c`` on Python integers."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import filterfalse

from gainwright.detector.loop_transform import ratio_of, transformed
from gainwright.detector.response_settings import (
    CROSSINGS,
    HALF_PERIODS,
    LEAST_SPREAD,
    LITTLE_SPREAD,
    NEAR_EIGHTHS,
    NEAR_RUNGS,
    NEAREST_RUNGS,
    NOISE_STEP,
    PERIODS_MAX,
    POINTS,
    RESPONSE_FINDINGS,
    ROOM_MAX,
    RUNG,
    SPREAD_MAX,
    ResponseSettings,
    is_noise_line,
)
from gainwright.detector.settings import HEADROOM_BITS
from gainwright.fixed.arithmetic import (
    add,
    clamp,
    floor_shift,
    multiply_floor,
    round_shift,
    subtract,
)

ONE = 4096
NEAREST_CROSSING = 4300
NOISE_ALONE = 4096, 4096, 2048
SMALL_MAX = 32767
SMALLEST_GAIN = 128
NONE = 2**31 - 1
SPREAD_USABLE, SPREAD_AGAIN = 512, 1024
NOISE_OF_MEANS = 124
LINES_KEPT = 3
PARTS = 3
POSITION_MAX = 2**20
AVERAGED_MAX = 8
SAME_PLACE = 2
LOUD_TIMES = 3
BENT_OFTEN, NOISE_HALVES = 2, 3
WEIGHT_BITS = 7
POINT_LIMIT = 2**23 - 1
HALF_WINDOW = tuple(
    max(1, round((2**WEIGHT_BITS - 1) * math.sin(math.pi * i / 64.0) ** 2)) for i in range(33)
)
"""Hann's window, from its edge to its middle."""


@dataclass(slots=True)
class Lines:
    """What is found from line to line."""

    allowed: int = NONE
    crossings: list[tuple[int, int, int]] = field(default_factory=list)
    """The lowest, each with its line and its noise."""
    noise: list[int] = field(default_factory=lambda: [0] * PARTS)
    noise_lines: list[int] = field(default_factory=lambda: [0] * PARTS)
    """In the flat part of the band, up to twice its end, and above."""
    noise_most: list[int] = field(default_factory=lambda: [0] * PARTS)
    noise_at: dict[int, int] = field(default_factory=dict)
    """Noise of each line without excitation, by its number."""
    last: list[tuple[int, int]] = field(default_factory=list)
    """The lines before, the nearest first."""

    def take(self, settings: ResponseSettings, line: int, found: tuple[int, int]) -> None:
        """Take D / U of the next line with excitation, Q12, when all noise is known."""
        here = found[0] + ONE, found[1]
        first = settings.first_line + is_noise_line(settings.first_line)
        in_gap = settings.gap_from < line - 1 < settings.gap_to
        crosses = line - first > LINES_KEPT and (self.last[1][1] < 0) != (self.last[0][1] < 0)
        if crosses and not in_gap:
            self._look_for_crossing(settings, line, here)
        if _part_of(settings, line) < 2:
            if self.last:
                self._allow(settings, *_middle(self.last[0], here))
            self._allow(settings, *here)
        self.last = [here, *self.last][:LINES_KEPT]

    def take_noise(self, settings: ResponseSettings, line: int, found: tuple[int, int]) -> None:
        """Take D / U of a line without excitation, Q12."""
        part, (re, im) = _part_of(settings, line), found
        most, least = max(abs(re), abs(im)), min(abs(re), abs(im))
        share = min(2**28 // max(most + 3 * (least // 8), 1), 65535)
        self.noise[part] += share * share
        self.noise_lines[part] += 1
        self.noise_most[part] = max(self.noise_most[part], share)
        self.noise_at[line // NOISE_STEP] = share

    def _look_for_crossing(
        self, settings: ResponseSettings, line: int, here: tuple[int, int]
    ) -> None:
        """Look between the two lines before this one."""
        after, before, long_before = self.last
        at = _real_between(before, after)
        if at < NEAREST_CROSSING:
            return
        far, farther = ((re * re + im * im) // at for re, im in (before, after))
        far += floor_shift((farther - far) * _way_to_real(before, after), 15)
        part = _part_of(settings, line - 1)
        usual = self._noise_in(part)
        share = self._noise_before(usual, line)
        if min(usual * far >> 16, SPREAD_MAX) <= NOISE_ALONE[part]:
            noise = min(share * far >> 16, SPREAD_MAX)
            means = _middle(long_before, before), _middle(after, here)
            if (means[0][1] < 0) != (means[1][1] < 0):
                at = _in_noise(at, _real_between(*means), usual)
            self.crossings = sorted([*self.crossings, (at, line - 1, noise)], key=_value)[
                :CROSSINGS
            ]

    def _noise_before(self, usual: int, line: int) -> int:
        """Return the noise of the two lines before one: the usual one, or of a tone beside them."""
        places = ((line - 1) // NOISE_STEP, (line - 2) // NOISE_STEP)
        beside = max(self.noise_at.get(place, 0) for place in places)
        return beside if beside > LOUD_TIMES * usual else usual

    def _noise_in(self, part: int) -> int:
        """Return |U| / |D| by noise alone in a part of the band, Q16."""
        mean, lines = self.noise[part], self.noise_lines[part]
        if lines > 2:
            mean = (mean - self.noise_most[part] ** 2) // (lines - 1)
        return root(min(mean, 2**31 - 1))

    def _allow(self, settings: ResponseSettings, re: int, im: int) -> None:
        re = clamp(re >> 4, -SMALL_MAX, SMALL_MAX)
        im = abs(clamp(im >> 4, -SMALL_MAX, SMALL_MAX))
        square = re * re + im * im
        kept = (square * settings.inverse_square >> 16) - im * im
        gain = NONE
        if re > 0:
            if im * ONE < re * settings.tangent:
                gain = root(square)
            if kept >= 0:
                peak = re - root(kept)
                gain = peak if peak >= SMALLEST_GAIN else gain
        if gain >= SMALLEST_GAIN:
            self.allowed = min(self.allowed, gain)


def _part_of(settings: ResponseSettings, line: int) -> int:
    return (line > settings.flat_line) + (line > 2 * settings.flat_line)


def _in_noise(at: int, mean: int, share: int) -> int:
    """Return a crossing as means of lines have it, where noise is not small beside it."""
    noise = share * at >> 16
    near = abs(mean - at) <= 2 * (at * min(noise, NONE) >> 12)
    return mean if noise >= NOISE_OF_MEANS and near else at


def _value(crossing: tuple[int, int, int]) -> int:
    return crossing[0]


def _middle(a: tuple[int, int], b: tuple[int, int]) -> tuple[int, int]:
    return round_shift(a[0] + b[0], 1), round_shift(a[1] + b[1], 1)


def _way_to_real(a: tuple[int, int], b: tuple[int, int]) -> int:
    """Return the share of the way, Q15, at which a line between two responses is real."""
    before, after = abs(a[1]), abs(b[1])
    bits = max((before + after).bit_length() - 16, 0)
    return (before >> bits) * 32767 // max((before + after) >> bits, 1)


def _real_between(a: tuple[int, int], b: tuple[int, int]) -> int:
    return a[0] + multiply_floor(b[0] - a[0], _way_to_real(a, b), 15)


def root(square: int) -> int:
    """Return the square root of up to 32 bits, rounded down."""
    found, bit = 0, 1 << 30
    while bit:
        if square >= found + bit:
            square -= found + bit
            found = (found >> 1) + bit
        else:
            found >>= 1
        bit >>= 2
    return found


def logarithm(value: int, bits: int) -> int:
    """Return 4096 log2(value / 2^bits), rounded down by at most one; value is 1 or more."""
    size = value.bit_length()
    rest = value << 16 - size if size <= 16 else value >> size - 16
    found = size - 1 - bits
    for _ in range(12):
        rest = rest * rest >> 15
        found *= 2
        if rest >= 1 << 16:
            found += 1
            rest >>= 1
    return found


def _towards_zero(dividend: int, divisor: int) -> int:
    quotient = abs(dividend) // divisor
    return quotient if dividend >= 0 else -quotient


@dataclass(slots=True)
class ReferenceLoopResponse:
    """State as in ``gw_loop_response``; signals are raw Q4.24 words."""

    settings: ResponseSettings
    points: list[int] = field(default_factory=lambda: [0] * POINTS)
    recording: bool = False
    starting: int = 0
    """Control ticks until sums begin, after the one that takes the order."""
    wanted: int = 0
    tick: int = 0
    settling: int = 0
    sum: int = 0
    filled: int = 0
    next: int = 0
    periods: int = 0
    cut_off: int = 0
    again: int = 0
    window: int = 0
    weight: int = 0
    weights: int = 0
    rung: int = 0
    eighths: int = 8
    most_eighths: int = 8
    evaluated: bool = True
    shift: int = 0
    energy: int = 0
    spread: int = SPREAD_MAX
    agreeing: int = 0
    known: list[tuple[int, int]] = field(default_factory=list)
    """Positions and lines of the crossings of the evaluation before."""
    limit_position: int = 0
    limit_line: int = 0
    bent_line: int = 0
    bent: int = 0
    result_position: int = 0

    def record(self, on: bool, rung: int) -> None:
        """Begin or end the test signal."""
        if on and not self.recording:
            self.recording, self.wanted = True, rung
            self.starting = 2
        elif not on:
            self.recording, self.starting = False, 0

    def _start(self) -> None:
        if self.evaluated or self.rung != self.wanted:
            self._begin(self.wanted)
        stride = self.settings.stride
        self.weight = self._weight_now()
        self.sum = self.filled = 0
        self.settling = self.settings.settle_ticks
        self.tick = (self.next * stride - self.settling) % len(self.settings.shape)
        self.evaluated = False

    def _begin(self, rung: int) -> None:
        """Begin new sums; what the last ones were says how long these are to be."""
        complete = self.periods >= self.window
        known = self.rung == rung and self.window
        self.again = min(self.again, 14) + 1 if known else 0
        more = self.settings.window_more * self.again
        wanted = clamp(self.settings.window + more, 2, PERIODS_MAX)
        self.window = clamp(self.cut_off, 2, wanted) if self.cut_off else wanted
        self.cut_off = 0 if complete else self.periods
        self.eighths = self._eighths_at(rung)
        self.periods = self.weights = self.next = 0
        self.rung = rung

    def _eighths_at(self, rung: int) -> int:
        full = min(NEAR_EIGHTHS if self._within(rung, NEAR_RUNGS) else 8, self.most_eighths)
        half = max(full // 2, 1)
        most = LITTLE_SPREAD if self.eighths >= full else -1
        if self._within(rung, NEAREST_RUNGS):
            most = LEAST_SPREAD
        expected = self.spread * self.eighths // half
        known = self.agreeing > 0 and min(self.periods, PERIODS_MAX) >= HALF_PERIODS
        return half if known and expected <= most else full

    def _within(self, rung: int, rungs: int) -> bool:
        return self.agreeing > 0 and self.limit_position < (rung + rungs) * RUNG

    def sample(self, filtered_torque: int) -> int:
        """Take one control tick's filtered torque command; return the torque to add."""
        if self.starting:
            self.starting -= 1
            if not self.starting:
                self._start()
            return 0
        if not self.recording:
            return 0
        torque = self.settings.shape[self.tick] * self.settings.step * self.eighths
        if self.settling > 0:
            self.settling -= 1
        else:
            self._add(filtered_torque)
        self.tick = (self.tick + 1) % len(self.settings.shape)
        return torque

    def _weight_now(self) -> int:
        """Return the weight of the period that begins."""
        if self.periods >= self.window:
            return 0
        place = (2 * self.periods + 1) * 32 // self.window
        return HALF_WINDOW[min(place, 64 - place)]

    def _add(self, filtered_torque: int) -> None:
        self.sum += clamp(filtered_torque >> HEADROOM_BITS, -POINT_LIMIT - 1, POINT_LIMIT)
        self.filled += 1
        if self.filled < self.settings.stride:
            return
        mean = clamp(self.sum >> self.settings.point_shift, -POINT_LIMIT - 1, POINT_LIMIT)
        before = 0 if self.periods == 0 else self.points[self.next]
        self.points[self.next] = add(before, mean * self.weight >> WEIGHT_BITS)
        self.sum = self.filled = 0
        self.next += 1
        if self.next >= POINTS:
            self.next = 0
            self.weights += self.weight
            self.periods = min(self.periods, PERIODS_MAX - 1) + 1
            self.weight = self._weight_now()

    @property
    def pending(self) -> bool:
        """Whether sums wait for their evaluation."""
        enough = self.periods >= self.settings.least_periods
        return not self.recording and not self.evaluated and enough

    def evaluate(self) -> None:
        """Do all slices of the evaluation at once."""
        if not self.pending:
            return
        share = (self.weight << 15) // max(self.weights + self.weight, 1)
        levelled = [
            subtract(value, multiply_floor(value, share, 15)) if place < self.next else value
            for place, value in enumerate(self.points)
        ]
        self.points, self.shift, self.energy = transformed(levelled)
        lines = Lines()
        band = range(self.settings.first_line, self.settings.last_line + 1)
        for line in filter(is_noise_line, band):
            lines.take_noise(self.settings, line, self._ratio(line))
        for line in filterfalse(is_noise_line, band):
            lines.take(self.settings, line, self._ratio(line))
        self._conclude(lines)
        self.evaluated = True

    def _conclude(self, lines: Lines) -> None:
        crossings = lines.crossings
        places = [(self._position(at, 12), line) for at, line, _ in crossings]
        again = self._found_again(places)
        clear = (k for k, (_, _, noise) in enumerate(crossings) if noise <= SPREAD_USABLE)
        place = next(clear, 0) if again is None else again
        spread_before, self.spread = self.spread, crossings[place][2] if crossings else SPREAD_MAX
        if self._shaken():
            self.spread = SPREAD_MAX
        if self.spread > (SPREAD_USABLE if again is None else SPREAD_AGAIN):
            self.agreeing = min(self.agreeing, 1)
            return
        if self._bent(*places[place], spread_before + self.spread):
            self.agreeing, self.spread = min(self.agreeing, 1), SPREAD_MAX
            return
        mean = [(self.limit_position, self.limit_line)] if self.agreeing > 0 else []
        limit = places[place][0]
        result = limit - self.settings.margin
        if lines.allowed < NONE:
            result = min(result, self._position(lines.allowed, 8))
        self._agree(again is not None, limit, result)
        self.limit_line = places[place][1]
        self.known = places + mean

    def _shaken(self) -> bool:
        """Whether the motor was shaken too much; then the next test signal has half the height."""
        root = logarithm(clamp(self.energy >> 21, 1, NONE), 0) >> 1
        octaves = root + (self.shift + 13) * ONE - logarithm(max(self.weights, 1), 0)
        above = multiply_floor(octaves, self.settings.octave, 12) - self.rung * RUNG
        if above <= self.settings.shaken:
            return False
        self.most_eighths = max(self.eighths // 2, 1)
        return True

    def _bent(self, limit: int, line: int, noise: int) -> bool:
        """Whether predictions here have differed by more than noise, time and again."""
        most = self.settings.agreement + (NOISE_HALVES * noise * self.settings.octave >> 13)
        apart = self.agreeing > 0 and abs(limit - self.limit_position) > most
        if apart and abs(line - self.limit_line) <= SAME_PLACE:
            self.bent = min(self.bent, 254) + 1 if abs(line - self.bent_line) <= SAME_PLACE else 1
            self.bent_line = line
        return self.bent >= BENT_OFTEN and abs(line - self.bent_line) <= SAME_PLACE

    def _found_again(self, places: list[tuple[int, int]]) -> int | None:
        """Return which crossing was found before; None where a lower one is in doubt."""
        for place, (position, line) in enumerate(places):
            way = min(
                (abs(position - known) for known, at in self.known if abs(line - at) <= SAME_PLACE),
                default=NONE,
            )
            if way <= self.settings.agreement:
                return place
            if way < NONE:
                return None
        return None

    def _ratio(self, line: int) -> tuple[int, int]:
        return ratio_of(self.points, self.settings, line, self.weights * self.eighths, self.shift)

    def inverse(self, line: int) -> tuple[int, int]:
        """Return Y = -1 / L of a line of the last evaluation, Q12."""
        re, im = self._ratio(line)
        return re + ONE, im

    def _position(self, value: int, bits: int) -> int:
        rungs = multiply_floor(logarithm(value, bits), self.settings.octave, 12)
        return clamp(self.rung * RUNG + rungs, -POSITION_MAX, POSITION_MAX)

    def _agree(self, again: bool, limit: int, result: int) -> None:
        agreed = min(self.agreeing, 254)
        agreement = self.settings.agreement
        if again and abs(limit - self.limit_position) <= agreement:
            weight = min(agreed, AVERAGED_MAX - 1) + 1
            self.limit_position += _towards_zero(limit - self.limit_position, weight)
            if abs(result - self.result_position) > agreement:
                self.result_position = max(result, self.result_position)
            else:
                self.result_position += _towards_zero(result - self.result_position, weight)
            self.agreeing = agreed + 1
        else:
            lower = limit < self.limit_position
            if agreed > 0 and limit - self.limit_position > agreement:
                self.spread = SPREAD_MAX
            self.limit_position, self.result_position = limit, result
            self.agreeing = 2 if again and lower else 1

    def findings(self, rung: int) -> dict[str, int]:
        """Return the inputs of the trial by name, as at a rung."""
        settled = not self.recording and not self.pending
        values = [min(self.periods, PERIODS_MAX), int(settled), 0, SPREAD_MAX, 0, 0]
        if self.agreeing > 0:
            values[2:] = [
                min(self.agreeing, 255),
                self.spread,
                _whole_rungs(rung, self.limit_position),
                _whole_rungs(rung, self.result_position),
            ]
        return dict(zip(RESPONSE_FINDINGS, values, strict=True))


def _whole_rungs(rung: int, position: int) -> int:
    return clamp(floor_shift(position, 8) - rung, -ROOM_MAX, ROOM_MAX)
