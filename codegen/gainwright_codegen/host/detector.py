"""Runs the exported detector and test pulse on this computer, over whole arrays at once."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import cffi
import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainwright.detector.settings import DetectorSettings, LevelSettings
from gainwright_codegen.host import compile_and_load, read_sources
from gainwright_codegen.sources import RUNTIME_DIRECTORY

Samples = NDArray[np.int32]

_HOST = Path(__file__).parent
_FILES = ("gw_fixed.h", "gw_highpass.h", "gw_detector*.h", "gw_detector.c", "gw_pulse.h")


class CompiledDetector:
    """The exported ``gw_detector``; bit-identical to ``gainwright.detector.reference``.

    Raises:
        InputError: no C compiler, or a cache that cannot be used.
    """

    def __init__(self, settings: DetectorSettings, flags: Iterable[str] = ("-O3",)) -> None:
        self._ffi, self._library = _load(flags)
        self._settings = self._ffi.new("gw_detector_settings *", _c_settings(settings))
        self._detector = self._ffi.new("gw_detector *")
        self.reset()

    def reset(self) -> None:
        """Forget all signals; both levels are 0 until a block is complete."""
        self._library.gw_detector_reset(self._detector)

    def run(self, torque_raw: ArrayLike, speed_error_raw: ArrayLike) -> tuple[Samples, Samples]:
        """Take samples, one of each signal per control tick, from where the last call ended.

        Args:
            torque_raw: torque command as raw Q4.24 words, shape (n,); any 32-bit integers.
            speed_error_raw: speed error, the same.

        Returns:
            Ring level and burst level after each sample, shape (n,) each, 0 to LEVEL_MAX.

        Raises:
            ValueError: lengths differ, or values that are not 32-bit integers.
        """
        torque, speed_error = _words(torque_raw), _words(speed_error_raw)
        if len(torque) != len(speed_error):
            raise ValueError(f"{len(torque)} torque but {len(speed_error)} speed-error samples")
        ring, burst = np.empty_like(torque), np.empty_like(torque)
        self._library.detector_host_run(
            self._detector,
            self._settings,
            len(torque),
            *(self._ffi.from_buffer("int32_t[]", a) for a in (torque, speed_error, ring, burst)),
        )
        return ring, burst


def compiled_pulse(
    shape: Iterable[int], starts: ArrayLike, heights: ArrayLike, flags: Iterable[str] = ("-O3",)
) -> Samples:
    """Play the exported test pulse from its idle state.

    Args:
        shape: Q0.15 samples of the pulse.
        starts: boolean values, shape (n,): whether the pulse is started before that tick's sample.
        heights: Q4.24 words, shape (n,): the height with which it is started.

    Returns:
        Torque of each control tick, Q4.24, shape (n,).
    """
    ffi, library = _load(flags)
    samples = ffi.new("int16_t[]", list(shape))
    c_shape = ffi.new("gw_pulse_shape *", (samples, len(samples)))
    c_starts, c_heights = np.ascontiguousarray(starts, dtype=bool), _words(heights)
    if len(c_starts) != len(c_heights):
        raise ValueError(f"{len(c_starts)} starts but {len(c_heights)} heights")
    torque = np.empty_like(c_heights)
    library.detector_host_pulse(
        ffi.new("gw_pulse *", (2**31 - 1, 0, -1)),
        c_shape,
        len(torque),
        ffi.from_buffer("uint8_t[]", c_starts.view(np.uint8)),
        ffi.from_buffer("int32_t[]", c_heights),
        ffi.from_buffer("int32_t[]", torque),
    )
    return torque


def _load(flags: Iterable[str]) -> tuple[cffi.FFI, Any]:
    sources = read_sources(RUNTIME_DIRECTORY, *_FILES) | read_sources(_HOST, "detector.[ch]")
    return compile_and_load(sources, ("detector.h",), flags, name="detector")


def _c_settings(settings: DetectorSettings) -> tuple[object, ...]:
    levels = _c_level(settings.ring), _c_level(settings.burst)
    return (settings.words, *levels, settings.swing_level, settings.steps_level)


def _c_level(level: LevelSettings) -> tuple[int, int, int]:
    return (level.block_ticks, level.shift, level.scale)


def _words(values: ArrayLike) -> Samples:
    array = np.asarray(values)
    if array.ndim != 1 or (array.size and array.dtype.kind not in "iu"):
        raise ValueError(f"expected one row of integers, found {array.dtype} {array.shape}")
    if array.size and not (int(array.min()) >= -(2**31) and int(array.max()) < 2**31):
        raise ValueError(f"values from {array.min()} to {array.max()} do not fit 32 bits")
    return np.ascontiguousarray(array, dtype=np.int32)
