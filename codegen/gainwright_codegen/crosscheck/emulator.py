"""Runs an image on an emulated processor, counts instructions and looks at the stack."""

from __future__ import annotations

import bisect
import importlib
from collections import Counter
from typing import Any

from gainwright_codegen.crosscheck.elf import ElfFile
from gainwright_codegen.crosscheck.targets import Target

PACKAGE = "unicorn"
_PAGE = 4096
_STACK_TOP, _STACK_SIZE = 0x30000000, 0x10000
_RETURN = 0x00100000
_PAINT = 0xA5
_WORD = 2**32


class Emulator:
    """One processor with an image in its memory.

    Raises:
        ModuleNotFoundError: the emulator is not installed.
    """

    def __init__(self, target: Target, image: ElfFile) -> None:
        self._unicorn: Any = importlib.import_module(PACKAGE)
        self._image, self._target = image, target
        self._machine = self._processor()
        for section in image.sections:
            if section.is_loaded:
                self._map(section.address, section.size)
                if section.content:
                    self._machine.mem_write(section.address, section.content)
        self._map(_STACK_TOP - _STACK_SIZE, _STACK_SIZE)
        self._map(_RETURN, _PAGE)
        self._trace = list[int]()
        self._hook: Any = None

    def _processor(self) -> Any:
        uc, arm = self._unicorn, importlib.import_module(f"{PACKAGE}.arm_const")
        riscv = importlib.import_module(f"{PACKAGE}.riscv_const")
        if self._target.is_arm:
            machine = uc.Uc(uc.UC_ARCH_ARM, uc.UC_MODE_THUMB | uc.UC_MODE_MCLASS)
            machine.ctl_set_cpu_model(getattr(arm, f"UC_CPU_ARM_{self._target.emulated_cpu}"))
            self._registers = [getattr(arm, f"UC_ARM_REG_R{k}") for k in range(4)]
            self._stack, self._link = arm.UC_ARM_REG_SP, arm.UC_ARM_REG_LR
            self._thumb = 1
        else:
            machine = uc.Uc(uc.UC_ARCH_RISCV, uc.UC_MODE_RISCV32)
            model = getattr(riscv, f"UC_CPU_RISCV32_{self._target.emulated_cpu}")
            machine.ctl_set_cpu_model(model)
            self._registers = [getattr(riscv, f"UC_RISCV_REG_A{k}") for k in range(4)]
            self._stack, self._link = riscv.UC_RISCV_REG_SP, riscv.UC_RISCV_REG_RA
            self._thumb = 0
        return machine

    def _map(self, address: int, size: int) -> None:
        """Map the pages of a region that are not mapped yet."""
        mapped = list(self._machine.mem_regions())
        for page in range(address // _PAGE * _PAGE, address + max(size, 1), _PAGE):
            if not any(low <= page <= high for low, high, _ in mapped):
                self._machine.mem_map(page, _PAGE)

    def address(self, name: str) -> int:
        """Return the address of a symbol; KeyError if there is none."""
        return self._image.address(name)

    def memory(self, address: int, size: int) -> bytes:
        """Return bytes from memory."""
        return bytes(self._machine.mem_read(address, size))

    def call(self, name: str, *arguments: int) -> int:
        """Call a function with up to four words and return its word, unsigned."""
        for register, value in zip(self._registers, arguments, strict=False):
            self._machine.reg_write(register, value % _WORD)
        self._machine.reg_write(self._stack, _STACK_TOP)
        self._machine.reg_write(self._link, _RETURN | self._thumb)
        self._machine.emu_start(self.address(name) | self._thumb, _RETURN)
        return self._machine.reg_read(self._registers[0]) % _WORD

    def counted(self, name: str, *arguments: int) -> tuple[int, int]:
        """Call a function; return its word and the instructions that it took."""
        if self._hook is None:
            self._hook = self._machine.hook_add(self._unicorn.UC_HOOK_CODE, self._step)
            # Code translated before the hook came would not be counted.
            self._machine.ctl_flush_tb()
        self._trace.clear()
        return self.call(name, *arguments), len(self._trace)

    def _step(self, machine: Any, address: int, size: int, data: Any) -> None:
        self._trace.append(address)

    def by_function(self) -> Counter[str]:
        """Return the instructions of the last counted call by function."""
        functions = sorted((s.address, s.name) for s in self._image.symbols if s.is_function)
        places = [address for address, _ in functions]
        by_function = Counter[str]()
        for address, count in Counter(self._trace).items():
            by_function[functions[bisect.bisect_right(places, address) - 1][1]] += count
        return by_function

    def paint_stack(self) -> None:
        """Fill the stack, so that what is written to it can be seen."""
        self._machine.mem_write(_STACK_TOP - _STACK_SIZE, bytes([_PAINT]) * _STACK_SIZE)

    def painted_over(self) -> int:
        """Return how many bytes of the stack were used since it was painted."""
        content = bytes(self._machine.mem_read(_STACK_TOP - _STACK_SIZE, _STACK_SIZE))
        return len(content.lstrip(bytes([_PAINT])))
