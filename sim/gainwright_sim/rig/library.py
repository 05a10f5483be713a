"""Compiles the exported C of a trial and an axis together with the rig, and loads it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import cffi

from gainwright.spec.model import Trial
from gainwright_codegen.build import compile_shared, load_library, read_sources

SOURCE_DIRECTORY = Path(__file__).parent
FLAGS = ("-O3", "-ffp-contract=off")
"""No fused multiply-add, so that the same seed gives the same bytes on every processor."""
CHANGEABLE_TABLES = ("-DGW_MACHINE_CONST=",)
"""Leaves the tables of the axis writable, so that one compilation serves many axes."""
_TABLES_CDEF = """
typedef struct { int32_t b0, b1, b2, a1, a2; } gw_biquad_coefficients;
typedef struct { int32_t block_ticks; uint32_t shift; int32_t scale; } gw_level_settings;
typedef struct {
    gw_biquad_coefficients section[2];
    gw_level_settings ring;
    gw_level_settings burst;
} gw_detector_settings;
typedef struct { const int16_t *shape; int32_t ticks; } gw_pulse_shape;
extern int32_t gw_gain_ladder[GW_STAGE_SLOTS][GW_RUNG_COUNT_MAX];
extern gw_detector_settings gw_stage_detector[GW_STAGE_SLOTS];
extern gw_pulse_shape gw_stage_pulse[GW_STAGE_SLOTS];
extern int32_t gw_pulse_height[GW_STAGE_SLOTS][GW_RUNG_COUNT_MAX];
"""


def load_rig(
    trial: Trial, exported: Mapping[str, bytes], changeable: bool = False
) -> tuple[cffi.FFI, Any]:
    """Compile and load the rig around exported sources.

    Args:
        trial: the trial that was exported.
        exported: text of each exported file by name, as :func:`gainwright_codegen` makes them.
        changeable: leave the tables of the axis writable.

    Raises:
        InputError: no compiler, or a cache that can not be used.
    """
    sources = {
        name: text for name, text in exported.items() if not name.endswith(("selftest.c", ".txt"))
    }
    sources |= read_sources(SOURCE_DIRECTORY, "*.c", "*.h")
    flags = (*FLAGS, *(CHANGEABLE_TABLES if changeable else ()))
    library = compile_shared(sources, flags, name="rig")
    return load_library(library, rig_cdef(trial))


def rig_cdef(trial: Trial) -> str:
    """Return ``rig.h`` and the tables' declarations in the subset of C that cffi reads."""
    header = (SOURCE_DIRECTORY / "rig.h").read_text(encoding="ascii")
    sizes = dict(re.findall(r"^#define (RIG_\w+) (\d+)", header, re.MULTILINE)) | {
        "GW_INPUT_SLOTS": str(max(1, len(trial.inputs))),
        "GW_VARIABLE_SLOTS": str(max(1, len(trial.variables))),
        "GW_OUTPUT_SLOTS": str(max(1, len(trial.outputs))),
        "GW_STAGE_SLOTS": str(max(1, len(trial.stages))),
        "GW_RUNG_COUNT_MAX": str(max((stage.rungs for stage in trial.stages), default=1)),
    }
    text = re.sub(r"^#.*$", "", header, flags=re.MULTILINE) + _TABLES_CDEF
    for name, value in sizes.items():
        text = re.sub(rf"\b{name}\b", value, text)
    return text
