"""The processors that a bundle is built and run for."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Target:
    """One processor: how the cross-compiler and the emulator call it."""

    name: str
    triple: str
    cpu: str
    emulated_cpu: str
    """Name of the emulator's constant."""
    is_arm: bool


TARGETS = (
    Target("Cortex-M0", "thumb-freestanding-eabi", "cortex_m0", "CORTEX_M0", True),
    Target("Cortex-M4", "thumb-freestanding-eabi", "cortex_m4", "CORTEX_M4", True),
    Target("Cortex-M7", "thumb-freestanding-eabi", "cortex_m7", "CORTEX_M7", True),
    Target("Cortex-M33", "thumb-freestanding-eabi", "cortex_m33", "CORTEX_M33", True),
    Target("RV32IMC", "riscv32-freestanding", "generic_rv32+m+c", "BASE32", False),
)
