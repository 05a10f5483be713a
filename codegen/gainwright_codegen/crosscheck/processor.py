"""What runs a bundle: this computer or an emulated processor, called alike."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from gainwright_codegen.host import compile_shared, load_library

_CALLS = {
    "gw_axis_control_tick": "uint32_t {}(uintptr_t, uint32_t, uint32_t)",
    "gw_axis_find": "void {}(uintptr_t, uintptr_t)",
    "gw_axis_step": "uint32_t {}(uintptr_t, uintptr_t)",
    "gw_selftest_run": "uint32_t {}(void)",
    "bench_place": "void {}(uint32_t)",
    "bench_init": "void {}(void)",
    "bench_pulse": "void {}(uint32_t)",
    "bench_order": "void {}(uint32_t)",
    "bench_ends": "void {}(uint32_t)",
    "bench_measures": "uint32_t {}(void)",
    "bench_measure": "void {}(uint32_t)",
    "bench_sum_ends": "void {}(uint32_t)",
}
_DATA = ("bench_axis", "bench_found", "bench_inputs", "bench_sizes")
_WORD = 2**32


class Processor(Protocol):
    """Calls functions of an image by name, with words."""

    def address(self, name: str) -> int: ...
    def memory(self, address: int, size: int) -> bytes: ...
    def call(self, name: str, *arguments: int) -> int: ...


class Host:
    """This computer, with the bundle as a shared library.

    Raises:
        InputError: no compiler, or the sources do not compile.
    """

    def __init__(self, folder: Path, names: Sequence[str]) -> None:
        sources = {name: (folder / name).read_bytes() for name in names}
        declared = [call.format(name) + ";" for name, call in _CALLS.items()]
        declared += [f"extern char {name}[];" for name in _DATA]
        library = compile_shared(sources, name="crosscheck")
        self._ffi, self._library = load_library(library, "\n".join(declared))

    def address(self, name: str) -> int:
        return int(self._ffi.cast("uintptr_t", self._ffi.addressof(self._library, name)))

    def memory(self, address: int, size: int) -> bytes:
        return bytes(self._ffi.buffer(self._ffi.cast("char *", address), size))

    def call(self, name: str, *arguments: int) -> int:
        kinds = _CALLS[name].partition("(")[2].rstrip(")").split(", ")
        values = [
            value if kind == "uintptr_t" else value % _WORD
            for value, kind in zip(arguments, kinds, strict=False)
        ]
        return getattr(self._library, name)(*values) or 0
