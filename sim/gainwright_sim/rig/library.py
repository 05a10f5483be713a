"""Compiles the exported C of a trial and an axis together with the rig, and loads it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import cffi

from gainwright.language.model import Trial
from gainwright_codegen.host import compile_shared, load_library, read_sources

SOURCE_DIRECTORY = Path(__file__).parent
FLAGS = ("-O3", "-ffp-contract=off")
"""No fused multiply-add, so that the same seed gives the same bytes on every processor."""
CHANGEABLE_TABLES = ("-DGW_MACHINE_CONST=",)
"""Leaves the tables of the axis writable, so that one compilation serves many axes."""
_TABLES_CDEF = """
typedef struct { int32_t b0, a1, a2; } gw_highpass_coefficients;
typedef struct { int32_t block_ticks; uint32_t shift; int32_t scale; } gw_level_settings;
typedef struct {
    gw_highpass_coefficients section[2];
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
        InputError: no compiler, or a cache that cannot be used.
    """
    sources = {
        name: text for name, text in exported.items() if not name.endswith(("selftest.c", ".txt"))
    }
    sources |= read_sources(SOURCE_DIRECTORY, "*.c", "*.h")
    flags = (*FLAGS, *(CHANGEABLE_TABLES if changeable else ()))
    library = compile_shared(sources, flags, name="rig")
    return load_library(library, rig_cdef(trial))


def rig_cdef(trial: Trial) -> str:
    """Return the rig's and the tables' declarations in the subset of C that cffi reads."""
    sizes = {
        "GW_INPUT_SLOTS": max(1, len(trial.inputs)),
        "GW_VARIABLE_SLOTS": max(1, len(trial.variables)),
        "GW_OUTPUT_SLOTS": max(1, len(trial.outputs)),
        "GW_STAGE_SLOTS": max(1, len(trial.stages)),
        "GW_RUNG_COUNT_MAX": max((stage.rungs for stage in trial.stages), default=1),
    }
    headers = (SOURCE_DIRECTORY / "rig_model.h", SOURCE_DIRECTORY / "rig.h")
    return header_declarations(headers, sizes, _TABLES_CDEF)


def header_declarations(
    headers: Iterable[Path], sizes: Mapping[str, int] | None = None, more: str = ""
) -> str:
    """Return headers without preprocessor lines, with ``more`` behind them.

    Array sizes are written as numbers: those given, and those that the headers define.
    """
    text = "".join(path.read_text(encoding="ascii") for path in headers)
    defined = {name: int(n) for name, n in re.findall(r"(?m)^#define (RIG_\w+) (\d+)", text)}
    text = re.sub(r"(?m)^#.*$", "", text) + more
    for name, value in {**defined, **(sizes or {})}.items():
        text = re.sub(rf"\b{name}\b", str(value), text)
    return text
