"""Runs the exported C of a trial on a simulated axis and keeps what happened."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import cffi
import numpy as np

from gainwright.language.model import Trial
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_sim.machine import Machine
from gainwright_sim.rig import configuration
from gainwright_sim.rig.faults import SOUND, RigFault, fault_data
from gainwright_sim.rig.log import LogMemory, RigLog
from gainwright_sim.rig.response import MeasuredResponse, measured_response

FOR_EVER = 2**31 - 1


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
        gw_machine: pointer to the machine as the exported C knows it.
        seed: of the torque noise.
        longest_s: machine time after which the run stops whether it has ended or not.
        overrides: inputs to force; those of the detector too.
        fault: what breaks on the way.
        exact_ticks: run just so many sequencer ticks, past an end of the trial if it comes before.
        limits_elsewhere: by stage, the lowest rung at which its search ended at another place.
        log_control: keep every control tick's detector samples too.
    """

    def __init__(
        self,
        ffi: cffi.FFI,
        library: Any,
        trial: Trial,
        machine: Machine,
        tables: tuple[StageTables, ...],
        gw_machine: Any,
        seed: int,
        longest_s: float = 600.0,
        overrides: Iterable[Override] = (),
        log_control: bool = False,
        exact_ticks: int | None = None,
        fault: RigFault = SOUND,
        limits_elsewhere: Mapping[str, int] | None = None,
    ) -> None:
        configuration.check_rig_inputs(trial)
        self._ffi, self._library, self._trial = ffi, library, trial
        self._gw_machine = gw_machine
        self._tables, self._control_tick_s = tables, machine.drive.control_tick_s
        self._past_end = exact_ticks is not None
        longest = round(longest_s / (trial.tick_us * 1e-6))
        self._most_ticks = longest if exact_ticks is None else exact_ticks
        self._ticks = 0
        drive = configuration.drive(ffi, machine, trial)
        control_ticks = drive.sequencer_ticks if log_control else 0
        self._log = LogMemory(ffi, trial, control_ticks)
        self._memory = np.zeros(library.rig_size() // 8 + 1, dtype=np.int64)
        self._rig = ffi.cast("rig *", self._memory.ctypes.data)
        if fault.input is not None:
            said = Override(fault.start, FOR_EVER, fault.input, 0)
            overrides = [*overrides, said]
        forced = self._forced = self._overrides(overrides)
        library.rig_start(
            self._rig,
            gw_machine,
            configuration.plant(ffi, machine),
            drive,
            configuration.binding(ffi, trial, tables, limits_elsewhere),
            forced,
            len(forced),
            ffi.new("rig_fault *", fault_data(fault)),
            seed,
        )

    def _overrides(self, overrides: Iterable[Override]) -> Any:
        numbers = self._trial.index.inputs
        entries = [
            {"from": o.start, "until": o.stop, "input": numbers[o.input], "value": o.value}
            for o in overrides
        ]
        return self._ffi.new("rig_override[]", entries)

    def advance(self, sequencer_ticks: int) -> int:
        """Run so many sequencer ticks more, or fewer if the run ends; return all so far."""
        target = min(self._ticks + sequencer_ticks, self._most_ticks)
        while self._ticks < target and (self._past_end or not self.resting):
            if self._ticks == self._log.ticks:
                self._log.extend()
            self._ticks = self._library.rig_advance(
                self._rig, self._log.pointer, target - self._ticks, self._past_end
            )
        return self._ticks

    @property
    def resting(self) -> bool:
        """Whether the trial has come to an end and rested there for a moment."""
        return bool(self._library.rig_ended(self._rig))

    @property
    def ended(self) -> bool:
        """Whether the trial rests at an end, or the longest time is over."""
        at_rest = self.resting and not self._past_end
        return at_rest or self._ticks >= self._most_ticks

    def response(self) -> MeasuredResponse | None:
        """Return the loop response that was measured last; None if there is none."""
        if not self._tables:
            return None
        tick_s = self._control_tick_s
        return measured_response(self._ffi, self._library, self._rig, self._tables[0], tick_s)

    def log(self, since: int = 0) -> RigLog:
        """Return a copy of the record from sequencer tick ``since`` on."""
        return self._log.copy(since, self._ticks)
