"""Compiles a bundle for a processor and links it, alone and with what the cross-check calls."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from gainwright.errors import input_error
from gainwright_codegen.crosscheck.elf import ElfFile, Symbol
from gainwright_codegen.crosscheck.targets import ZIG, Target
from gainwright_codegen.host.tool_run import LIMIT_S, run_tool

FLAGS = (
    "-std=c99",
    "-O2",
    "-ffreestanding",
    "-fomit-frame-pointer",
    "-ffunction-sections",
    "-fdata-sections",
    "-fno-unwind-tables",
    "-fno-asynchronous-unwind-tables",
)
FIRMWARE_FUNCTIONS = (
    "gw_axis_init",
    "gw_axis_control_tick",
    "gw_axis_sequencer_tick",
    "gw_axis_gain",
)
"""What firmware calls: everything else in flash is there for these."""
_BENCH_FUNCTIONS = (
    "bench_place",
    "bench_found",
    "bench_inputs",
    "bench_pulse",
    "bench_order",
    "bench_ends",
    "bench_measures",
    "bench_measure",
    "bench_sum_ends",
    "bench_init",
    "bench_sizes",
    "gw_axis_find",
    "gw_axis_step",
    "gw_selftest_run",
)
BENCH_FILE = "bench.c"
SELF_TEST_FILE = "gw_selftest.c"
_LAYOUT = """\
EXTERN({names})
ENTRY({entry})
SECTIONS {{
    . = 0x08000000;
    .text : {{ *(.text*) }}
    .rodata : {{ *(.rodata*) }}
    .ARM.exidx : {{ *(.ARM.exidx*) }}
    .ARM.extab : {{ *(.ARM.extab*) }}
    . = 0x20000000;
    .data : {{ *(.data*) *(.sdata*) }}
    .bss : {{ *(.bss*) *(.sbss*) *(COMMON) }}
}}
"""


@dataclass(frozen=True, slots=True)
class Image:
    """A bundle as it lies in the memory of a target."""

    target: Target
    firmware: ElfFile
    """Only what firmware calls."""
    bench: ElfFile
    """The same with self-test and bench."""
    units: Mapping[str, str]
    """C file by symbol; what is missing comes from the compiler."""

    def flash(self) -> dict[str, int]:
        """Return bytes of flash by C file, without padding; ``compiler`` for its own helpers."""
        sizes: dict[str, int] = {}
        seen: set[int] = set()
        # A function of the compiler has several names.
        for symbol in self.firmware.symbols:
            in_flash = symbol.section in (".text", ".rodata") and symbol.size > 0
            if in_flash and symbol.address not in seen:
                seen.add(symbol.address)
                unit = self.units.get(symbol.name, "compiler")
                sizes[unit] = sizes.get(unit, 0) + symbol.size
        return dict(sorted(sizes.items()))

    def helpers(self) -> tuple[str, ...]:
        """Return the functions that the compiler adds."""
        return tuple(
            sorted(s.name for s in self.firmware.symbols if s.is_function and self._foreign(s))
        )

    def static_ram(self) -> int:
        """Return bytes of RAM that are not in a ``gw_axis``."""
        return sum(s.size for s in self.firmware.sections if s.name in (".data", ".bss"))

    def _foreign(self, symbol: Symbol) -> bool:
        return symbol.name not in self.units and "." not in symbol.name and symbol.size > 0


def build_image(folder: Path, names: Sequence[str], target: Target) -> Image:
    """Compile the C files of a folder, which also holds the bench, and link them.

    Args:
        folder: holds the sources; products are left in a folder inside.
        names: C files of the bundle.
        target: for which processor.

    Raises:
        InputError: the compiler does not accept the sources, or cannot link them.
    """
    place = folder / target.name.replace(" ", "-")
    place.mkdir()
    units = [name for name in names if name != SELF_TEST_FILE]
    objects = [_compiled(target, place, name) for name in units]
    all_objects = [*objects, _compiled(target, place, BENCH_FILE)]
    machines = [n.removesuffix(".c") for n in units if n.startswith("gw_machine_")]
    bench = _linked(target, place, all_objects, (*FIRMWARE_FUNCTIONS, *_BENCH_FUNCTIONS))
    return Image(
        target,
        firmware=_linked(target, place, objects, (*FIRMWARE_FUNCTIONS, *machines)),
        bench=bench,
        units={
            symbol.name: unit
            for unit, file in zip(units, objects, strict=True)
            for symbol in ElfFile((place / file).read_bytes()).symbols
            if symbol.name
        },
    )


def _compiled(target: Target, place: Path, name: str) -> str:
    product = name.removesuffix(".c") + ".o"
    _run(target, place, ["-c", "-I..", *FLAGS, f"../{name}", "-o", product])
    return product


def _linked(
    target: Target, place: Path, objects: Sequence[str], functions: Sequence[str]
) -> ElfFile:
    layout = _LAYOUT.format(names=" ".join(functions), entry=functions[0])
    (place / "layout.ld").write_text(layout, encoding="ascii")
    _run(target, place, ["-Wl,-T,layout.ld", "-Wl,--gc-sections", "-O2", *objects, "-o", "image"])
    return ElfFile((place / "image").read_bytes())


def _run(target: Target, place: Path, arguments: Sequence[str]) -> None:
    command = [target.compiler, f"-mcpu={target.cpu}", "-mthumb", "-nostartfiles", *arguments]
    if target.compiler == ZIG:
        command = [sys.executable, "-m", "ziglang", "cc", "-target", target.triple]
        command += [f"-mcpu={target.cpu}", *arguments]
    compile_for(target.name, command, place)


def compile_for(processor: str, command: Sequence[str], place: Path) -> None:
    """Run a compiler in a folder; InputError with what it said if it does not succeed."""
    result = run_tool(command, place, LIMIT_S)
    if result.exit_code != 0:
        said = result.output.strip().splitlines()[:20] or [f"no end after {LIMIT_S:g} s"]
        raise input_error(
            "bundle",
            f"compiled for {processor}",
            "\n    ".join(said),
            "C files that compile and link",
            "export the bundle again; report it if that does not help",
        )
