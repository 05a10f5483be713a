"""The exported fixed-point C equals the Python reference bit for bit, and is defined everywhere."""

from __future__ import annotations

import random
import subprocess
from collections.abc import Iterator
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainwright.fixed.biquad_reference import BiquadCoefficients, BiquadReference
from gainwright.fixed.qformat import SIGNAL_LIMIT
from gainwright_codegen.host import compile_program, compile_shared

from ..shared.compilers import compiler_parameters
from ..shared.fixed_c import (
    CLAMPS,
    NARROW,
    NARROWINGS,
    PAIRS,
    PARTS,
    PRODUCTS,
    PROTOTYPES,
    RANGE_CHECKS,
    SHIFTS_32,
    SHIFTS_64,
    SIGNED,
    SINGLES,
    SQUARES,
    STRICT,
    WIDE_PAIRS,
    WIDE_SQUARES,
    library,
    reference,
    run_highpass,
    sources,
)

MIN32, MAX32, MIN64, MAX64 = -(2**31), 2**31 - 1, -(2**63), 2**63 - 1
CORNERS_32 = (MIN32, MIN32 + 1, -SIGNAL_LIMIT - 1, -3, -2, -1, 0, 1, 2, 3, SIGNAL_LIMIT, MAX32)
CORNERS_64 = (MIN64, MIN64 + 1, MIN32 - 1, *CORNERS_32, MAX32 + 1, 2**62 - 1, MAX64 - 1, MAX64)

word32 = st.one_of(st.sampled_from(CORNERS_32), st.integers(MIN32, MAX32))
word64 = st.one_of(st.sampled_from(CORNERS_64), st.integers(MIN64, MAX64))
ONE = 2**30
below_one = st.one_of(st.sampled_from((1 - ONE, 0, ONE - 1)), st.integers(1 - ONE, ONE - 1))
signal = st.one_of(word32, st.integers(-SIGNAL_LIMIT, SIGNAL_LIMIT), st.integers(-9, 9))


def corner_calls() -> Iterator[tuple[str, tuple[int, ...]]]:
    """Every function on every combination of corner values and extreme shifts."""
    for names, corners in ((SHIFTS_64, CORNERS_64), (SHIFTS_32, CORNERS_32)):
        for name, (low, high) in names.items():
            yield from ((name, (a, b)) for a in corners for b in (low, low + 1, high - 1, high))
    for name in (*PAIRS, *WIDE_PAIRS):
        yield from ((name, (a, b)) for a in CORNERS_32 for b in CORNERS_32)
    for name in SINGLES:
        yield from ((name, (a,)) for a in CORNERS_32)
    for name, (low, high) in PRODUCTS.items():
        for bits in (low, 1, 30, 31, 32, high):
            yield from ((name, (a, b, bits)) for a in CORNERS_32 for b in CORNERS_32)
    for name in NARROWINGS:
        yield from ((name, (a,)) for a in CORNERS_64)
    for name, corners in zip(CLAMPS, (CORNERS_32, CORNERS_64), strict=True):
        yield from ((name, (a, *pair)) for a in corners for pair in pairwise(CORNERS_32))
    for name, bits in SIGNED.items():
        yield from ((name, (a % 2**bits,)) for a in CORNERS_64)
    for name, most in (SQUARES | WIDE_SQUARES).items():
        yield from ((name, (a,)) for a in (-most, -1, 0, 1, most))
    for name in RANGE_CHECKS:
        yield from ((name, (a, *pair)) for a in CORNERS_32 for pair in pairwise(CORNERS_32))
    for name in PARTS:
        yield from ((name, (a % 2**32,)) for a in CORNERS_32)
    yield from (("checksum_with", (a % 2**32, b % 2**32)) for a in CORNERS_32 for b in CORNERS_32)


def test_corner_values():
    _, lib = library()
    for name, arguments in corner_calls():
        assert getattr(lib, name)(*arguments) == reference(name, *arguments), (name, arguments)


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_any_values(data):
    _, lib = library()
    a, b, wide = data.draw(word32), data.draw(word32), data.draw(word64)
    calls = [(name, (a, b)) for name in (*PAIRS, *WIDE_PAIRS)]
    calls += [(name, (a,)) for name in SINGLES]
    calls += [(name, (wide,)) for name in NARROWINGS]
    calls += [(name, (a % 2**32,)) for name in PARTS]
    calls += [("checksum_with", (a % 2**32, b % 2**32))]
    limits = sorted((b, data.draw(word32)))
    calls += [("clamp_i32", (a, *limits)), ("clamp_i64", (wide, *limits))]
    calls += [(name, (a, *limits)) for name in RANGE_CHECKS]
    calls += [(name, (wide % 2**bits,)) for name, bits in SIGNED.items()]
    for names, arguments in ((SHIFTS_64, (wide,)), (SHIFTS_32, (a,)), (PRODUCTS, (a, b))):
        for name, (low, high) in names.items():
            calls.append((name, (*arguments, data.draw(st.integers(low, high)))))
    for name, arguments in calls:
        assert getattr(lib, name)(*arguments) == reference(name, *arguments), (name, arguments)


@settings(max_examples=200, deadline=None)
@given(st.tuples(below_one, word32, below_one), st.lists(signal, min_size=1, max_size=60))
def test_high_pass_with_any_coefficients(words, samples):
    """Unstable filters and inputs beyond the signal range included: nothing may wrap."""
    words = (abs(words[0]), *words[1:])
    expected = as_biquad(words).run(samples)
    assert run_highpass(words, samples) == expected
    assert run_highpass(words, samples, NARROW) == expected
    assert all(-SIGNAL_LIMIT - 1 <= y <= SIGNAL_LIMIT for y in expected)


def test_high_pass_saves_the_fraction():
    """A gain of one half at a step: the halves are kept, so that none is lost."""
    words, samples = (2**29, 0, 0), [1, 1, 1, 2, 2, 2]
    assert run_highpass(words, samples) == as_biquad(words).run(samples) == [1, -1, 0, 1, -1, 0]


def test_high_pass_at_the_bound_of_the_accumulator():
    """The largest coefficients and states at the limit make the largest sum."""
    for words in ((ONE - 1, MIN32, 1 - ONE), (ONE - 1, MAX32, ONE - 1), (ONE - 1, MIN32, ONE - 1)):
        samples = [MAX32] * 6 + [MIN32] * 6 + [MAX32, MIN32] * 4
        expected = as_biquad(words).run(samples)
        assert run_highpass(words, samples) == expected
        assert run_highpass(words, samples, NARROW) == expected


@settings(max_examples=200, deadline=None)
@given(
    word32,
    st.one_of(st.sampled_from((-(2**15), -1, 0, 1, 2**15 - 1)), st.integers(-(2**15), 2**15 - 1)),
)
def test_torque_of_a_pulse_by_parts(height, sample):
    """Half up; the opposite of the most negative height, which no table has, gives itself."""
    exact = (height * sample + 2**14) >> 15
    for flags in ((), NARROW):
        _, lib = library(flags)
        assert lib.pulse_torque(height, sample) == (exact if exact < 2**31 else MIN32)


def as_biquad(words: tuple[int, int, int]) -> BiquadReference:
    b0, a1, a2 = words
    return BiquadReference(BiquadCoefficients(b0, -2 * b0, b0, a1, a2))


@pytest.mark.parametrize("level", ["-O0", "-O3"])
@pytest.mark.parametrize("command", compiler_parameters("gcc", "clang", "zig"))
def test_headers_compile_without_a_warning(command, level, monkeypatch):
    monkeypatch.setenv("GAINWRIGHT_CC", command)
    compile_shared(sources(), (*STRICT, "-Wshadow", "-Wsign-conversion", level), "fixed_strict")


def _sanitised_program() -> dict[str, bytes]:
    """All corner calls and a few noisy filters as one program, whose results are printed."""
    calls = [
        f'    printf("%lld\\n", (long long)gw_{name}({", ".join(map(_literal, arguments))}));'
        for name, arguments in corner_calls()
    ]
    filters = []
    for words in _filter_words():
        text = ", ".join(map(_literal, words))
        filters.append(f"    run((const int32_t[3]){{{text}}});")
    main = f"""
#include <stdio.h>
static void run(const int32_t *words)
{{
    int32_t x[64], y[64];
    uint32_t random = 1;
    for (int k = 0; k < 64; k++) {{
        random = (random * UINT32_C(1664525)) + UINT32_C(1013904223);
        x[k] = (int32_t)((int64_t)random - INT64_C(2147483648));
    }}
    run_highpass(words, 64, x, y);
    for (int k = 0; k < 64; k++) {{
        printf("%d\\n", (int)y[k]);
    }}
}}
int main(void)
{{
{chr(10).join(calls)}
{chr(10).join(filters)}
    return 0;
}}
"""
    made = sources()
    made["calls.c"] += main.encode()
    return made


def _filter_words() -> list[tuple[int, ...]]:
    rng = random.Random(7)
    corners = [(0, MIN32, 1 - ONE), (ONE - 1, MAX32, ONE - 1), (ONE - 1, MIN32, 1 - ONE)]
    return corners + [
        (rng.randrange(ONE), rng.randint(MIN32, MAX32), rng.randint(1 - ONE, ONE - 1))
        for _ in range(5)
    ]


def _literal(value: int) -> str:
    # The most negative numbers have no literal of their own in C.
    if value < 0:
        return f"(-INT64_C({-value - 1}) - 1)"
    return f"{'U' * (value > MAX64)}INT64_C({value})"


def _expected_lines() -> list[int]:
    expected = [reference(name, *arguments) for name, arguments in corner_calls()]
    state, noise = 1, []
    for _ in range(64):
        state = (state * 1664525 + 1013904223) % 2**32
        noise.append(state - 2**31)
    for words in _filter_words():
        expected += as_biquad(words).run(noise)
    return expected


@pytest.mark.parametrize("command", compiler_parameters("gcc", "clang"))
def test_no_undefined_behaviour(command, monkeypatch):
    """Undefined-behaviour sanitiser on every corner; ISO/IEC 9899:1999 6.5p5, 6.5.7, 6.3.1.3p3."""
    monkeypatch.setenv("GAINWRIGHT_CC", command)
    checks = ["-fsanitize=undefined", "-fno-sanitize-recover=all"]
    if command == "clang":
        checks.insert(1, "-fsanitize=implicit-conversion,signed-integer-overflow,shift")
    # Literals of 64 bits are narrowed on purpose where the parameter is 32 bits wide.
    program = compile_program(_sanitised_program(), ("-O1", *checks), "fixed_sanitised")
    result = subprocess.run([str(program)], capture_output=True, text=True, check=False)
    assert (result.returncode, result.stderr) == (0, "")
    assert [int(line) for line in result.stdout.split()] == _expected_lines()


def test_every_function_of_the_header_is_compared():
    text = sources()["gw_fixed.h"].decode()
    found = {
        part.split("(")[0].split()[-1].removeprefix("gw_")
        for part in text.split("static inline")[1:]
    }
    compared = {prototype.split()[1].split("(")[0] for prototype in PROTOTYPES}
    assert found - {"parts_of"} == compared  # that is both parts, and the filters have it
