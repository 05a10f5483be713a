"""The loop-response measurement of the exported ``gw_loop_response.c`` on Python integers."""

from __future__ import annotations

from dataclasses import dataclass, field

from gainwright.detector.loop_transform import ratio_of, transformed
from gainwright.detector.response_settings import (
    NEAR_EIGHTHS,
    NEAR_RUNGS,
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
    multiply_round,
    round_shift,
)

ONE = 4096
NEAREST_CROSSING = 4300
NEIGHBOUR = 4
SMALL_MAX = 32767
SMALLEST_GAIN = 128
NONE = 2**31 - 1
SPREAD_USABLE = 512
POSITION_MAX = 2**20
AVERAGED_MAX = 8
_SHAPE_BITS = 10


@dataclass(slots=True)
class Lines:
    """What is found from line to line."""

    limit: int = NONE
    allowed: int = NONE
    limit_line: int = 0
    noise: list[int] = field(default_factory=lambda: [0, 0])
    noise_lines: list[int] = field(default_factory=lambda: [0, 0])
    """In the flat part of the band, and above."""
    last: tuple[int, int] | None = None

    def take(self, settings: ResponseSettings, line: int, found: tuple[int, int]) -> None:
        """Take D / U of the next line, Q12."""
        if is_noise_line(line):
            self._add_noise(line > settings.flat_line, *found)
            return
        here = found[0] + ONE, found[1]
        if self.last is not None:
            if (self.last[1] < 0) != (here[1] < 0):
                self._look_for_crossing(line, self.last, here)
            middle = (round_shift(a + b, 1) for a, b in zip(self.last, here, strict=True))
            self._allow(settings, *middle)
        self._allow(settings, *here)
        self.last = here

    def _add_noise(self, part: bool, re: int, im: int) -> None:
        most, least = max(abs(re), abs(im)), min(abs(re), abs(im))
        share = min(2**28 // max(most + 3 * (least // 8), 1), 65535)
        self.noise[part] += share * share
        self.noise_lines[part] += 1

    def _look_for_crossing(self, line: int, last: tuple[int, int], here: tuple[int, int]) -> None:
        before, after = abs(last[1]), abs(here[1])
        bits = max((before + after).bit_length() - 16, 0)
        share = (before >> bits) * 32767 // max((before + after) >> bits, 1)
        at = last[0] + multiply_floor(here[0] - last[0], share, 15)
        most = NEIGHBOUR**2 * at * at
        near = all(re * re + im * im <= most for re, im in (last, here))
        if NEAREST_CROSSING <= at < self.limit and near:
            self.limit, self.limit_line = at, line

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
                gain = peak if SMALLEST_GAIN <= peak < gain else gain
        if gain >= SMALLEST_GAIN:
            self.allowed = min(self.allowed, gain)

    def spread(self, settings: ResponseSettings) -> int:
        """Return the noise at the limit, 4096 = the limit itself."""
        if self.limit == NONE:
            return SPREAD_MAX
        part = self.limit_line > settings.flat_line
        share = root(min(self.noise[part] // max(self.noise_lines[part], 1), 2**31 - 1))
        return min(share * self.limit >> 16, SPREAD_MAX)


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
    tick: int = 0
    settling: int = 0
    sum: int = 0
    filled: int = 0
    next: int = 0
    periods: int = 0
    rung: int = 0
    eighths: int = 8
    evaluated: bool = True
    shift: int = 0
    spread: int = SPREAD_MAX
    agreeing: int = 0
    limit_position: int = 0
    result_position: int = 0

    def record(self, on: bool, rung: int) -> None:
        """Begin or end the test signal."""
        if on and not self.recording:
            if self.evaluated or self.rung != rung:
                self.periods, self.next, self.rung = 0, 0, rung
                self.eighths = NEAR_EIGHTHS if self._near_limit(rung) else 8
            stride = self.settings.stride
            self.sum = self.filled = 0
            self.tick = self.next * stride
            self.settling = self.settings.settle_periods * POINTS * stride
            self.evaluated = False
        self.recording = on

    def _near_limit(self, rung: int) -> bool:
        return self.agreeing > 0 and self.limit_position < (rung + NEAR_RUNGS) * RUNG

    def sample(self, filtered_torque: int) -> int:
        """Take one control tick's filtered torque command; return the torque to add."""
        if not self.recording:
            return 0
        sample = self.settings.shape[self.tick] * self.eighths
        torque = multiply_round(self.settings.height, sample, _SHAPE_BITS)
        if self.settling > 0:
            self.settling -= 1
        elif self.periods < PERIODS_MAX:
            self._add(filtered_torque)
        self.tick = (self.tick + 1) % len(self.settings.shape)
        return torque

    def _add(self, filtered_torque: int) -> None:
        self.sum = add(self.sum, round_shift(filtered_torque, HEADROOM_BITS))
        self.filled += 1
        if self.filled < self.settings.stride:
            return
        before = 0 if self.periods == 0 else self.points[self.next]
        self.points[self.next] = add(before, self.sum)
        self.sum = self.filled = 0
        self.next += 1
        if self.next >= POINTS:
            self.next = 0
            self.periods += 1

    @property
    def pending(self) -> bool:
        """Whether sums wait for their evaluation."""
        enough = self.periods >= self.settings.least_periods
        return not self.recording and not self.evaluated and enough

    def evaluate(self) -> None:
        """Do all slices of the evaluation at once."""
        if not self.pending:
            return
        more = self.periods + 1
        levelled = [
            value - _towards_zero(value, more) if place < self.next else value
            for place, value in enumerate(self.points)
        ]
        self.points, self.shift = transformed(levelled)
        lines = Lines()
        for line in range(self.settings.first_line, self.settings.last_line + 1):
            lines.take(self.settings, line, self._ratio(line))
        self.spread = lines.spread(self.settings)
        if self.spread > SPREAD_USABLE:
            self.agreeing = min(self.agreeing, 1)
        else:
            self._agree(*self._positions(lines))
        self.evaluated = True

    def _ratio(self, line: int) -> tuple[int, int]:
        return ratio_of(self.points, self.settings, line, self.periods * self.eighths, self.shift)

    def inverse(self, line: int) -> tuple[int, int]:
        """Return Y = -1 / L of a line of the last evaluation, Q12."""
        re, im = self._ratio(line)
        return re + ONE, im

    def _positions(self, lines: Lines) -> tuple[int, int]:
        limit = self._position(lines.limit, 12)
        result = limit - self.settings.margin
        if lines.allowed < NONE:
            result = min(result, self._position(lines.allowed, 8))
        return limit, result

    def _position(self, value: int, bits: int) -> int:
        rungs = multiply_floor(logarithm(value, bits), self.settings.octave, 12)
        return clamp(self.rung * RUNG + rungs, -POSITION_MAX, POSITION_MAX)

    def _agree(self, limit: int, result: int) -> None:
        known = min(self.agreeing, 254)
        weight = min(known, AVERAGED_MAX - 1) + 1
        if known > 0 and abs(limit - self.limit_position) <= self.settings.agreement:
            self.limit_position += _towards_zero(limit - self.limit_position, weight)
            self.result_position += _towards_zero(result - self.result_position, weight)
            self.agreeing = known + 1
        else:
            self.limit_position, self.result_position = limit, result
            self.agreeing = 1

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
