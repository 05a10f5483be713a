"""Integer arithmetic of the exported ``gw_fixed.h``, on Python integers.

Each function has the meaning of the C function of the same name (``add`` is ``gw_add_i32``). The
width is a parameter here, 32 bits unless given, so that 16-bit formats can be computed too.
"""

from __future__ import annotations

from gainwright.fixed.qformat import SIGNAL_LIMIT, SIGNAL_LOWEST

WORD_BITS = 32


def clamp(value: int, low: int, high: int) -> int:
    """Return ``value``, or the nearer limit if it lies outside; ``low <= high``."""
    return min(max(value, low), high)


def saturate(value: int, word_bits: int = WORD_BITS) -> int:
    """Return the nearest integer that a signed word holds."""
    return clamp(value, -(1 << (word_bits - 1)), (1 << (word_bits - 1)) - 1)


def saturate_signal(value: int) -> int:
    """Saturate to the range of a Q4.24 signal, -2^28 to 2^28 - 1."""
    return clamp(value, SIGNAL_LOWEST, SIGNAL_LIMIT)


def floor_shift(value: int, bits: int) -> int:
    """Return floor(value / 2^bits); ``bits`` is 0 or more."""
    return value >> bits


def round_shift(value: int, bits: int) -> int:
    """Return value / 2^bits rounded half up; ``bits`` is 1 or more."""
    return (value + (1 << (bits - 1))) >> bits


def shift_left(value: int, bits: int, word_bits: int = WORD_BITS) -> int:
    """Return value * 2^bits, saturated."""
    return saturate(value << bits, word_bits)


def add(a: int, b: int, word_bits: int = WORD_BITS) -> int:
    """Return a + b, saturated."""
    return saturate(a + b, word_bits)


def subtract(a: int, b: int, word_bits: int = WORD_BITS) -> int:
    """Return a - b, saturated."""
    return saturate(a - b, word_bits)


def negate(value: int, word_bits: int = WORD_BITS) -> int:
    """Return -value, saturated: the most negative word gives the most positive one."""
    return saturate(-value, word_bits)


def absolute(value: int, word_bits: int = WORD_BITS) -> int:
    """Return the magnitude, saturated: the most negative word gives the most positive one."""
    return saturate(abs(value), word_bits)


def product(a: int, b: int) -> int:
    """Return a * b in full width."""
    return a * b


def multiply_floor(a: int, b: int, bits: int, word_bits: int = WORD_BITS) -> int:
    """Return a * b / 2^bits rounded toward minus infinity, saturated."""
    return saturate(floor_shift(product(a, b), bits), word_bits)


def multiply_round(a: int, b: int, bits: int, word_bits: int = WORD_BITS) -> int:
    """Return a * b / 2^bits rounded half up, saturated; ``bits`` is 1 or more."""
    return saturate(round_shift(product(a, b), bits), word_bits)
