"""Runs the exported C of a trial on a simulated axis and keeps what happened."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import cffi
import numpy as np

from gainwright.spec.model import Trial
from gainwright_codegen.axis_tables import StageTables
from gainwright_sim.machine import Machine
from gainwright_sim.rig import configuration
from gainwright_sim.rig.log import LogMemory, RigLog

OVERRIDES_MAX = 64
"""``RIG_OVERRIDES_MAX`` of the C."""


@dataclass(frozen=True, slots=True)
class Override:
    """From sequencer tick ``start`` to before tick ``stop`` an input has a value of our choice."""

    start: int
    stop: int
    input: str
    value: int


class Rig:
    """One run of a loaded rig library; advance it in slices until it has ended.

    Args:
        ffi, library: from :func:`gainwright_sim.rig.library.load_rig`.
        trial, machine, tables: what the library was made from.
        seed: of the torque noise.
        longest_s: machine time after which the run stops whether it has ended or not.
        overrides: inputs to force.
        log_control: keep every control tick's detector samples too.
    """

    def __init__(
        self,
        ffi: cffi.FFI,
        library: Any,
        trial: Trial,
        machine: Machine,
        tables: tuple[StageTables, ...],
        seed: int,
        longest_s: float = 600.0,
        overrides: Iterable[Override] = (),
        log_control: bool = False,
    ) -> None:
        configuration.check_rig_inputs(trial)
        self._ffi, self._library, self._trial = ffi, library, trial
        self._most_ticks = round(longest_s / (trial.tick_us * 1e-6))
        self._ticks = 0
        drive = configuration.drive(ffi, machine, trial)
        control_ticks = drive.sequencer_ticks if log_control else 0
        self._log = LogMemory(ffi, trial, control_ticks)
        self._memory = np.zeros(library.rig_size() // 8 + 1, dtype=np.int64)
        self._rig = ffi.cast("rig *", self._memory.ctypes.data)
        forced = self._overrides(overrides)
        library.rig_start(
            self._rig,
            configuration.plant(ffi, machine),
            drive,
            configuration.binding(ffi, trial, tables),
            forced,
            len(forced),
            seed,
        )

    def _overrides(self, overrides: Iterable[Override]) -> Any:
        overrides = tuple(overrides)
        if len(overrides) > OVERRIDES_MAX:
            raise ValueError(f"{len(overrides)} overrides, expected at most {OVERRIDES_MAX}")
        numbers = {signal.name: number for number, signal in enumerate(self._trial.inputs)}
        entries = [
            {"from": o.start, "until": o.stop, "input": numbers[o.input], "value": o.value}
            for o in overrides
        ]
        return self._ffi.new("rig_override[]", entries)

    def advance(self, sequencer_ticks: int) -> int:
        """Run so many sequencer ticks more, or fewer if the run ends; return all so far."""
        target = min(self._ticks + sequencer_ticks, self._most_ticks)
        while self._ticks < target and not self.resting:
            if self._ticks == self._log.ticks:
                self._log.extend()
            self._ticks = self._library.rig_advance(
                self._rig, self._log.pointer, target - self._ticks
            )
        return self._ticks

    @property
    def resting(self) -> bool:
        """Whether the trial has come to an end and rested there for a moment."""
        return bool(self._library.rig_ended(self._rig))

    @property
    def ended(self) -> bool:
        """Whether the trial rests at an end, or the longest time is over."""
        return self.resting or self._ticks >= self._most_ticks

    def log(self, since: int = 0) -> RigLog:
        """Return a copy of the record from sequencer tick ``since`` on."""
        return self._log.copy(since, self._ticks)
