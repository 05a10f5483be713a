"""The exported fixed-point headers, made callable one function at a time."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import gainwright_codegen
from gainwright.fixed import arithmetic
from gainwright_codegen.host import compile_shared, load_library, read_sources

RUNTIME = Path(gainwright_codegen.__file__).parent / "runtime"
STRICT = ("-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Werror")

SHIFTS_64 = {"floor_shift_i64": (0, 62), "round_shift_i64": (1, 62)}
SHIFTS_32 = {"floor_shift_i32": (0, 30), "round_shift_i32": (1, 30), "shift_left_i32": (0, 30)}
PAIRS = ("add_i32", "subtract_i32")
WIDE_PAIRS = ("product_i64", "product_of_halves_i64")
SINGLES = ("negate_i32", "absolute_i32", "saturate_signal", "high_half")
PRODUCTS = {"multiply_floor_i32": (0, 62)}
NARROWINGS = ("saturate_i32",)
CLAMPS = {"clamp_i32": "int32_t", "clamp_i64": "int64_t"}
RANGE_CHECKS = ("outside_i32",)
SIGNED = {"signed_i32": 32, "signed_i64": 64}
SQUARES = {"square_u32": 46340}
PARTS = ("high_part", "low_part")
WIDE_SQUARES = {"square_i64": 2**30, "square_of_halves_i64": 2**30}

PROTOTYPES = [
    *(f"int64_t {name}(int64_t a, uint32_t bits)" for name in SHIFTS_64),
    *(f"int32_t {name}(int32_t a, uint32_t bits)" for name in SHIFTS_32),
    *(f"int32_t {name}(int32_t a, int32_t b)" for name in PAIRS),
    *(f"int64_t {name}(int32_t a, int32_t b)" for name in WIDE_PAIRS),
    *(f"int32_t {name}(int32_t a)" for name in SINGLES),
    *(f"int32_t {name}(int32_t a, int32_t b, uint32_t bits)" for name in PRODUCTS),
    *(f"int32_t {name}(int64_t a)" for name in NARROWINGS),
    *(f"int32_t {name}({a_type} a, int32_t b, int32_t c)" for name, a_type in CLAMPS.items()),
    *(f"uint32_t {name}(int32_t a, int32_t b, int32_t c)" for name in RANGE_CHECKS),
    *(f"int{bits}_t {name}(uint{bits}_t a)" for name, bits in SIGNED.items()),
    *(f"uint32_t {name}(int32_t a)" for name in SQUARES),
    *(f"int64_t {name}(int32_t a)" for name in WIDE_SQUARES),
    *(f"uint32_t {name}(uint32_t a)" for name in PARTS),
    "uint32_t checksum_with(uint32_t a, uint32_t b)",
]
HIGHPASS_PROTOTYPE = (
    "void run_highpass(const int32_t words[3], int count, const int32_t *x, int32_t *y)"
)
HIGHPASS = f"""
{HIGHPASS_PROTOTYPE};
{HIGHPASS_PROTOTYPE}
{{
    const gw_highpass_coefficients coefficients = {{words[0], words[1], words[2]}};
    gw_highpass_past past_x = {{0, 0}};
    gw_highpass_past past_y = {{0, 0}};
    int32_t fraction = GW_HIGHPASS_HALF;
    for (int k = 0; k < count; k++) {{
        y[k] = gw_highpass_step(&coefficients, &past_x, &past_y, &fraction,
                                gw_saturate_signal(x[k]));
        gw_highpass_push(&past_y, y[k]);
    }}
}}
"""

PULSE_PROTOTYPE = "int32_t pulse_torque(int32_t height, int32_t sample)"
PULSE = f"""{PULSE_PROTOTYPE};
{PULSE_PROTOTYPE} {{ return gw_pulse_torque(height, sample); }}
"""
NARROW = ("-DGW_NARROW=1",)
"""As on processors whose products have no more than 32 bits."""


def python_name(c_name: str) -> str:
    """The function of gainwright.fixed.arithmetic that a C function must equal."""
    return c_name.removesuffix("_i32").removesuffix("_i64").removesuffix("_of_halves")


def reference(c_name: str, *arguments: int) -> int:
    if c_name in RANGE_CHECKS:  # Python needs no function for it
        value, low, high = arguments
        return int(not low <= value <= high)
    if c_name in SIGNED:
        return arguments[0] - 2 ** SIGNED[c_name] * (arguments[0] >= 2 ** (SIGNED[c_name] - 1))
    if c_name in SQUARES | WIDE_SQUARES:
        return arguments[0] ** 2
    if c_name == "high_half":
        return arithmetic.floor_shift(arguments[0], 16)
    if c_name in PARTS:
        high = arithmetic.floor_shift((arguments[0] + 2**31) % 2**32 - 2**31, 15) % 2**32
        return high if c_name == "high_part" else arguments[0] % 2**15
    if c_name == "checksum_with":
        turned = f"{arguments[0]:032b}"
        return int(turned[5:] + turned[:5], 2) ^ arguments[1]
    return getattr(arithmetic, python_name(c_name))(*arguments)


def sources() -> dict[str, bytes]:
    """The headers, and one external function per inline function."""
    lines = ['#include "gw_highpass.h"\n#include "gw_pulse.h"', PULSE]
    for prototype in PROTOTYPES:
        name = prototype.split()[1].split("(")[0]
        arguments = ", ".join(part.split()[-1].rstrip(")") for part in prototype.split(","))
        lines += [f"{prototype};", f"{prototype} {{ return gw_{name}({arguments}); }}"]
    text = "\n".join(lines) + HIGHPASS
    headers = ("gw_fixed.h", "gw_highpass.h", "gw_pulse.h")
    return read_sources(RUNTIME, *headers) | {"calls.c": text.encode()}


@cache
def library(flags: tuple[str, ...] = ()):
    """Return (ffi, library), compiled without a warning."""
    cdef = ";".join([*PROTOTYPES, HIGHPASS_PROTOTYPE, PULSE_PROTOTYPE]) + ";"
    return load_library(compile_shared(sources(), (*STRICT, *flags), name="fixed_calls"), cdef)


def run_highpass(words, samples, flags: tuple[str, ...] = ()) -> list[int]:
    """Run the C high-pass section from its reset state."""
    ffi, lib = library(flags)
    out = ffi.new("int32_t[]", len(samples))
    x = ffi.new("int32_t[]", list(samples))
    lib.run_highpass(ffi.new("int32_t[3]", words), len(samples), x, out)
    return list(out)
