"""Writes the tables of another axis into a loaded rig, so that it need not be compiled again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cffi

from gainwright.detector.settings import LevelSettings
from gainwright_codegen.axis_c.tables import StageTables


def replace_tables(ffi: cffi.FFI, library: Any, tables: Sequence[StageTables]) -> list[Any]:
    """Overwrite ladders, detector settings and pulses of a library loaded as ``changeable``.

    Returns:
        Memory that the library now refers to: keep it as long as the library is used.
    """
    kept = []
    for number, table in enumerate(tables):
        rungs = len(table.ladder.raw)
        library.gw_gain_ladder[number][0:rungs] = list(table.ladder.raw)
        library.gw_pulse_height[number][0:rungs] = list(table.pulse.heights)
        detector = library.gw_stage_detector[number]
        for place, words in enumerate(table.detector.words):
            target = detector.section[place]
            target.b0, target.a1, target.a2 = words
        _write_level(detector.ring, table.detector.ring)
        _write_level(detector.burst, table.detector.burst)
        shape = ffi.new("int16_t[]", list(table.pulse.shape))
        library.gw_stage_pulse[number].shape = shape
        library.gw_stage_pulse[number].ticks = len(table.pulse.shape)
        kept.append(shape)
    return kept


def _write_level(target: Any, source: LevelSettings) -> None:
    target.block_ticks, target.shift, target.scale = (
        source.block_ticks, source.shift, source.scale
    )  # fmt: skip
