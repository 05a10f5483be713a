"""Compiles the exported C of a trial and an axis together with the rig, and loads it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import cffi

from gainwright.detector.findings import measures_response
from gainwright.language.model import Trial
from gainwright_codegen.axis_c.response import RESPONSE_SCALARS
from gainwright_codegen.host import compile_shared, load_library, read_sources

SOURCE_DIRECTORY = Path(__file__).parent
FLAGS = ("-O3", "-ffp-contract=off")
"""No fused multiply-add, so that the same seed gives the same bytes on every processor."""
_MACHINE_CDEF = """
typedef struct { int32_t b0, a1, a2; } gw_highpass_coefficients;
typedef struct { int32_t block_ticks; uint32_t shift; int32_t scale; } gw_level_settings;
typedef struct {
    gw_highpass_coefficients section[2];
    gw_level_settings ring;
    gw_level_settings burst;
} gw_detector_settings;
typedef struct { const int16_t *shape; int32_t ticks; } gw_pulse_shape;
typedef struct {
    const int32_t *gain;
    const int32_t *pulse_height;
    int32_t rungs;
    int32_t gain_fraction_bits;
    gw_pulse_shape pulse;
    gw_detector_settings detector;
    GW_RESPONSE_MEMBER
} gw_machine_stage;
typedef struct {
    const char *name;
    const char *digest;
    int32_t control_ticks;
    int32_t control_tick_ns;
    int32_t rated_torque_unm;
    int32_t top_speed_urad_per_s;
    gw_machine_stage stage[GW_STAGE_SLOTS];
} gw_machine;
"""
_RESPONSE_CDEF = f"""
typedef struct {{
    const int8_t *shape; const int16_t *lines; int32_t {", ".join(RESPONSE_SCALARS)};
}} gw_response_settings;
"""


def load_rig(
    trial: Trial, exported: Mapping[str, bytes], machine: str = ""
) -> tuple[cffi.FFI, Any]:
    """Compile and load the rig around exported sources.

    Args:
        trial: the trial that was exported.
        exported: text of each exported file by name, as :func:`gainwright_codegen` makes them.
        machine: C name of a ``gw_machine`` in them, to be seen in the library.

    Raises:
        InputError: no compiler, or a cache that cannot be used.
    """
    sources = {
        name: text for name, text in exported.items() if not name.endswith(("selftest.c", ".txt"))
    }
    sources |= read_sources(SOURCE_DIRECTORY, "*.c", "*.h")
    library = compile_shared(sources, FLAGS, name="rig")
    # Not const, as cffi takes that for a number of the preprocessor.
    seen = f"extern gw_machine {machine};\n" if machine else ""
    return load_library(library, rig_cdef(trial) + seen)


def rig_cdef(trial: Trial) -> str:
    """Return the rig's and the machine's declarations in the subset of C that cffi reads."""
    sizes = {
        "GW_INPUT_SLOTS": max(1, len(trial.inputs)),
        "GW_VARIABLE_SLOTS": max(1, len(trial.variables)),
        "GW_OUTPUT_SLOTS": max(1, len(trial.outputs)),
        "GW_STAGE_SLOTS": max(1, len(trial.stages)),
    }
    headers = (SOURCE_DIRECTORY / "rig_model.h", SOURCE_DIRECTORY / "rig.h")
    measured = measures_response(trial)
    member = "gw_response_settings response;" if measured else ""
    machine = _MACHINE_CDEF.replace("GW_RESPONSE_MEMBER", member)
    return header_declarations(headers, sizes, before=_RESPONSE_CDEF + machine)


def header_declarations(
    headers: Iterable[Path], sizes: Mapping[str, int] | None = None, before: str = ""
) -> str:
    """Return headers without preprocessor lines, with ``before`` in front of them.

    Array sizes are written as numbers: those given, and those that the headers define.
    """
    text = "".join(path.read_text(encoding="ascii") for path in headers)
    defined = {name: int(n) for name, n in re.findall(r"(?m)^#define (RIG_\w+) (\d+)", text)}
    text = before + re.sub(r"(?m)^#.*$", "", text)
    for name, value in {**defined, **(sizes or {})}.items():
        text = re.sub(rf"\b{name}\b", str(value), text)
    return text
