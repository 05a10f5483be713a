"""The control tick interrupts the sequencer tick after every instruction of its step, Cortex-M4."""

from __future__ import annotations

import importlib
import importlib.util
from pathlib import Path

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_path
from gainwright_codegen.crosscheck.emulator import _RETURN, Emulator
from gainwright_codegen.crosscheck.image import build_image
from gainwright_codegen.crosscheck.run import _workspace
from gainwright_codegen.crosscheck.targets import TARGETS

from ..shared.bundles import write_standard_bundle

pytestmark = pytest.mark.skipif(
    any(importlib.util.find_spec(name) is None for name in ("unicorn", "ziglang")),
    reason="unicorn or ziglang is not installed: pip install 'gainwright[crosscheck]'",
)
TRIAL = load_trial(shipped_trial_path())
M4 = next(target for target in TARGETS if target.name == "Cortex-M4")
SIGNALS = (2**20, -(2**21))
RED_ZONE = 512


@pytest.fixture(scope="module")
def emulator(scratch_cache, tmp_path_factory) -> Emulator:
    folder: Path = tmp_path_factory.mktemp("bundle") / "kiln-shuttle"
    write_standard_bundle(folder)
    with _workspace(folder) as (place, names, _):
        return Emulator(M4, build_image(place, names, M4).bench)


class Axis:
    """The axis of the bench, and the parts of it that one tick or the other writes."""

    def __init__(self, emulator: Emulator) -> None:
        self.emulator = emulator
        self.place = emulator.address("bench_axis")
        self.inputs = emulator.address("bench_inputs")
        content = emulator.memory(emulator.address("bench_sizes"), 32)
        words = [int.from_bytes(content[k : k + 4], "little") for k in range(0, 32, 4)]
        _, self.size, self.sequences, _, self.middle, self.rate, self.fault, self.outputs = words

    def control(self) -> int:
        return self.emulator.call("gw_axis_control_tick", self.place, *SIGNALS)

    def begin(self, number: int) -> None:
        """Place the axis and give the table the inputs of a golden sequence."""
        self.emulator.call("bench_place", number)

    def sequencer(self) -> int:
        return self.emulator.call("gw_axis_step", self.place, self.inputs)

    def read(self) -> tuple[bytes, bytes]:
        """Return what the control tick writes, and what the sequencer tick leaves for others."""
        memory = self.emulator.memory(self.place, self.size)
        # Not which control tick a block began with, nor the checksum over that.
        kept = memory[self.middle : self.rate] + memory[self.fault : self.fault + 1]
        return memory[: self.middle], kept + memory[self.outputs :]

    def interrupted(self, after: int) -> bool:
        """Run a sequencer tick with a control tick in it; False if it ended before."""
        arm = importlib.import_module("unicorn.arm_const")
        machine = self.emulator._machine
        machine.reg_write(arm.UC_ARM_REG_R0, self.place)
        machine.reg_write(arm.UC_ARM_REG_R1, self.inputs)
        machine.reg_write(arm.UC_ARM_REG_SP, 0x30000000)
        machine.reg_write(arm.UC_ARM_REG_LR, _RETURN | 1)
        start = self.emulator.address("gw_axis_step") | 1
        # Code that was translated without a limit would not stop at it.
        machine.ctl_flush_tb()
        machine.emu_start(start, _RETURN, count=after)
        if machine.reg_read(arm.UC_ARM_REG_PC) & ~1 == _RETURN:
            return False
        context = machine.context_save()
        stack = machine.reg_read(arm.UC_ARM_REG_SP)
        machine.reg_write(arm.UC_ARM_REG_R0, self.place)
        machine.reg_write(arm.UC_ARM_REG_R1, SIGNALS[0])
        machine.reg_write(arm.UC_ARM_REG_R2, SIGNALS[1] % 2**32)
        machine.reg_write(arm.UC_ARM_REG_SP, stack - RED_ZONE)
        machine.reg_write(arm.UC_ARM_REG_LR, _RETURN | 1)
        machine.emu_start(self.emulator.address("gw_axis_control_tick") | 1, _RETURN)
        machine.context_restore(context)
        machine.emu_start(machine.reg_read(arm.UC_ARM_REG_PC) | 1, _RETURN)
        return True


def sequences_that_begin_a_pulse(axis: Axis) -> list[int]:
    """Golden sequences whose first tick asks for a pulse, which the control tick then takes."""
    found = []
    for number in range(axis.sequences):
        axis.begin(number)
        axis.sequencer()
        if axis.control() != 0:
            found.append(number)
    return found


@pytest.mark.parametrize("ticks", [1, pytest.param(4, marks=pytest.mark.slow)])
def test_an_interrupt_anywhere_changes_nothing_but_the_order(emulator, ticks):
    """Each half is as if the control tick had come before the sequencer tick, or after it."""
    axis = Axis(emulator)
    pulses = sequences_that_begin_a_pulse(axis)
    assert pulses, "some golden sequence begins a pulse"
    interrupts = 0
    for number in (*pulses[:2], 0, axis.sequences // 2)[:ticks]:
        axis.begin(number)
        axis.control()
        axis.sequencer()
        before = axis.read()
        axis.begin(number)
        axis.sequencer()
        axis.control()
        after = axis.read()
        for instruction in range(1, 2000):
            axis.begin(number)
            if not axis.interrupted(instruction):
                break
            interrupts += 1
            control, sequencer = axis.read()
            assert control in (before[0], after[0]), (number, instruction)
            assert sequencer in (before[1], after[1]), (number, instruction)
            # Nothing is lost: one more tick, and an order that was given has been taken.
            axis.sequencer()
            axis.control()
            assert int.from_bytes(emulator.memory(axis.place + axis.fault, 1), "little") == 0
    assert interrupts > 300 * ticks  # each sequencer tick, instruction by instruction
