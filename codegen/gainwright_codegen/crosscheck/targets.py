"""The processors that a bundle is built and run for."""

from __future__ import annotations

from dataclasses import dataclass

ZIG = "ziglang"
ARM_GCC = "arm-none-eabi-gcc"


@dataclass(frozen=True, slots=True)
class Target:
    """One processor, called function by function: how compiler and emulator name it."""

    name: str
    triple: str
    """Of the cross-compiler from the registry; empty for others."""
    cpu: str
    emulated_cpu: str
    """Name of the emulator's constant."""
    is_arm: bool
    compiler: str = ZIG
    """A package, or a program of the system."""


@dataclass(frozen=True, slots=True)
class UserTarget:
    """One processor that runs the bundle as a program: nothing is counted, all is compared."""

    name: str
    compiler: str
    flags: tuple[str, ...]
    emulator: str


TARGETS = (
    Target("Cortex-M0", "thumb-freestanding-eabi", "cortex_m0", "CORTEX_M0", True),
    Target("Cortex-M4", "thumb-freestanding-eabi", "cortex_m4", "CORTEX_M4", True),
    Target("Cortex-M7", "thumb-freestanding-eabi", "cortex_m7", "CORTEX_M7", True),
    Target("Cortex-M33", "thumb-freestanding-eabi", "cortex_m33", "CORTEX_M33", True),
    Target("RV32IMC", "riscv32-freestanding", "generic_rv32+m+c", "BASE32", False),
    Target("Cortex-M0 gcc", "", "cortex-m0", "CORTEX_M0", True, ARM_GCC),
    Target("Cortex-M4 gcc", "", "cortex-m4", "CORTEX_M4", True, ARM_GCC),
)
USER_TARGETS = (
    UserTarget("PowerPC", "powerpc-linux-gnu-gcc", (), "qemu-ppc"),
    UserTarget("s390x", ZIG, ("-target", "s390x-linux-musl"), "qemu-s390x"),
)
"""Both have the other byte order; the first has words of 32 bits, the second of 64."""
