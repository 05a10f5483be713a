"""Makes the ``gw_machine`` of an axis in memory: a loaded rig need not be compiled again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from weakref import WeakKeyDictionary

import cffi

from gainwright.detector.response_settings import ResponseSettings
from gainwright.detector.settings import LevelSettings
from gainwright.fixed.falling import FallingWords
from gainwright_codegen.axis_c.response import RESPONSE_SCALARS
from gainwright_codegen.axis_c.tables import StageTables

_ARRAYS_OF: WeakKeyDictionary[Any, list[Any]] = WeakKeyDictionary()
"""The memory that a machine's pointers lead to lives as long as the machine."""


class MachineInMemory:
    """Ladders, detector settings and pulses as the generated C has them."""

    def __init__(
        self, ffi: cffi.FFI, tables: Sequence[StageTables], control_ticks: int, tick_s: float
    ) -> None:
        self._kept = list[Any]()
        self.pointer = ffi.new("gw_machine *")
        """Whoever holds it keeps what it points to, even if the bench itself is gone."""
        _ARRAYS_OF[self.pointer] = self._kept
        self.pointer.control_ticks = control_ticks
        self.pointer.control_tick_ns = round(tick_s * 1e9)
        for number, table in enumerate(tables):
            self._write_stage(ffi, self.pointer.stage[number], table)

    def _array(self, ffi: cffi.FFI, c_type: str, values: Sequence[int]) -> Any:
        self._kept.append(ffi.new(c_type, list(values)))
        return self._kept[-1]

    def _write_stage(self, ffi: cffi.FFI, stage: Any, table: StageTables) -> None:
        self._write_ladder(ffi, stage.gain, table.short_gains)
        self._write_ladder(ffi, stage.pulse_height, table.short_heights)
        stage.rungs = len(table.ladder.raw)
        stage.gain_fraction_bits = table.ladder.format.fraction_bits
        stage.pulse.shape = self._array(ffi, "int16_t[]", table.pulse.shape)
        stage.pulse.ticks = len(table.pulse.shape)
        for place, words in enumerate(table.detector.words):
            target = stage.detector.section[place]
            target.b0, target.a1, target.a2 = words
        _write_level(stage.detector.ring, table.detector.ring)
        _write_level(stage.detector.burst, table.detector.burst)
        stage.detector.swing_level = table.detector.swing_level
        stage.detector.steps_level = table.detector.steps_level
        if table.response is not None:
            self._write_response(ffi, stage.response, table.response)

    def _write_ladder(self, ffi: cffi.FFI, target: Any, words: FallingWords) -> None:
        target.step = self._array(ffi, "uint32_t[]", words.steps)
        target.within = self._array(ffi, "uint32_t[]", words.within)
        target.one_more = self._array(ffi, "uint32_t[]", words.one_more)
        target.shift, target.most = words.shift, words.most

    def _write_response(self, ffi: cffi.FFI, target: Any, source: ResponseSettings) -> None:
        words = [word for line in source.lines for word in line]
        target.shape = self._array(ffi, "int8_t[]", source.shape)
        target.lines = self._array(ffi, "int16_t[]", words)
        for name in RESPONSE_SCALARS:
            setattr(target, name, getattr(source, name))


def _write_level(target: Any, source: LevelSettings) -> None:
    target.block_ticks, target.shift, target.scale = (
        source.block_ticks, source.shift, source.scale
    )  # fmt: skip
