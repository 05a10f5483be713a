"""Compiles the exported C of a trial and an axis together with the rig, and loads it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import cffi

from gainwright_codegen.host import compile_and_load, read_sources
from gainwright_sim.rig.names import names_header

SOURCE_DIRECTORY = Path(__file__).parent
FLAGS = ("-O3", "-ffp-contract=off")
"""No fused multiply-add, so that the same seed gives the same bytes on every processor."""
FEW_RUNS = ("-O1",)
"""With one machine compiled in: 0.5 s less to compile, and 0.01 s more for each rehearsal."""


def rig_sources() -> dict[str, str | bytes]:
    """Return the rig's own C by name, its header of names included."""
    return read_sources(SOURCE_DIRECTORY, "*.c", "*.h") | names_header()


def load_rig(exported: Mapping[str, bytes], machine: str = "") -> tuple[cffi.FFI, Any]:
    """Compile and load the rig around exported sources.

    Args:
        exported: text of each exported file by name, as :func:`gainwright_codegen` makes them.
        machine: C name of a ``gw_machine`` in them, to be seen in the library.

    Raises:
        InputError: no compiler, or a cache that cannot be used.
    """
    sources = {
        name: text for name, text in exported.items() if not name.endswith(("selftest.c", ".txt"))
    }
    sources |= rig_sources()
    # Not const, as cffi takes that for a number of the preprocessor.
    seen = f"extern gw_machine {machine};\n" if machine else ""
    flags = (*FLAGS, *FEW_RUNS) if machine else FLAGS
    return compile_and_load(sources, ("rig.h",), flags, name="rig", also=seen)
