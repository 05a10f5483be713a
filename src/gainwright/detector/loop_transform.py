"""Fourier sums of a period and ratios of torques, as the exported ``gw_loop_transform.h``."""

from __future__ import annotations

import math
from collections.abc import Sequence

from gainwright.detector.response_settings import LINES, POINTS, ResponseSettings
from gainwright.fixed.arithmetic import add, clamp, round_shift, saturate, subtract

POINT_BITS = 21
TWIDDLE_BITS = 14
RATIO_MAX = 2**27
QUARTER_COSINE = tuple(
    round(2**TWIDDLE_BITS * math.cos(2.0 * math.pi * i / POINTS)) for i in range(POINTS // 4 + 1)
)
_SMALL_MAX = 32767
_HALF, _QUARTER = POINTS // 2, POINTS // 4


def cosine(angle: int) -> int:
    """Return cos(2 pi angle / POINTS), Q14."""
    turn = angle % POINTS
    half = POINTS - turn if turn > _HALF else turn
    return -QUARTER_COSINE[_HALF - half] if half > _QUARTER else QUARTER_COSINE[half]


def sine(angle: int) -> int:
    """Return sin(2 pi angle / POINTS), Q14."""
    return cosine(angle - _QUARTER)


def _turned(a: int, b: int, angle: int) -> tuple[int, int]:
    """Return (a + i b) (cos - i sin)."""
    c, s = cosine(angle), sine(angle)
    return tuple(saturate(round_shift(x, TWIDDLE_BITS)) for x in (a * c + b * s, b * c - a * s))  # type: ignore[return-value]


def transformed(points: Sequence[int]) -> tuple[list[int], int, int]:
    """Return the sums of the LINES complex points, in bit-reversed order, and what else is found.

    That is the number of bits that were lost, and the sum of the squares of what was left.
    """
    largest = max(min(abs(value), 2**31 - 1) for value in points)
    shift = max(largest.bit_length() - POINT_BITS, 0)
    point = [round_shift(value, shift) if shift else value for value in points]
    energy = sum(clamp(value, -(2**POINT_BITS), 2**POINT_BITS) ** 2 for value in point)
    half = LINES // 2
    while half:
        for number in range(LINES // 2):
            _butterfly(point, number, half)
        half //= 2
    return point, shift, energy


def _butterfly(point: list[int], number: int, half: int) -> None:
    within = number % half
    low = 2 * (number // half * 2 * half + within)
    high = low + 2 * half
    re, im = (subtract(point[low + i], point[high + i]) for i in (0, 1))
    for i in (0, 1):
        point[low + i] = add(point[low + i], point[high + i])
    point[high : high + 2] = _turned(re, im, within * (LINES // half))


def _place_of(line: int) -> int:
    bits = LINES.bit_length() - 1
    return 2 * int(f"{line % LINES:0{bits}b}"[::-1], 2)


def torque_of(point: Sequence[int], line: int) -> tuple[int, int]:
    """Return the Fourier sum of the torque command over a period, times the periods."""
    here, there = _place_of(line), _place_of(LINES - line)
    a, b = point[here], point[here + 1]
    c, d = point[there], point[there + 1]
    even = round_shift(a + c, 1), saturate(round_shift(b - d, 1))
    odd = _turned(round_shift(b + d, 1), saturate(round_shift(c - a, 1)), line)
    return add(even[0], odd[0]), add(even[1], odd[1])


def ratio_of(
    point: Sequence[int], settings: ResponseSettings, line: int, parts: int, shift: int
) -> tuple[int, int]:
    """Return D / U of a line, Q12, limited to RATIO_MAX."""
    d_re, d_im = settings.lines[line - settings.first_line]
    torque = torque_of(point, line)
    up = 15 - max(min(abs(value), 2**31 - 1) for value in torque).bit_length()
    re, im = (
        clamp(saturate(value << up) if up >= 0 else value >> -up, -_SMALL_MAX, _SMALL_MAX)
        for value in torque
    )
    square = (re * re + im * im) >> 15
    reciprocal = (1 << 30) // max(square, 1)
    bits = clamp(settings.exponent - shift + up, -19, 31)
    numerators = d_re * re + d_im * im, d_im * re - d_re * im
    return tuple(  # type: ignore[return-value]
        clamp(value * reciprocal * parts >> 43 - bits, -RATIO_MAX, RATIO_MAX)
        for value in numerators
    )
