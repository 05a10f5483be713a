"""Runs the exported C of a trial on a simulated axis and keeps what happened."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import cffi
import numpy as np
from numpy.typing import NDArray

from gainwright.spec.model import Trial
from gainwright_codegen.axis_tables import StageTables
from gainwright_sim.machine import Machine
from gainwright_sim.rig import configuration

SIGNALS = (
    ("position", "rad"),
    ("speed", "rad/s"),
    ("load_speed", "rad/s"),
    ("torque_lowest", "N m"),
    ("torque_highest", "N m"),
    ("speed_error", "rad/s"),
    ("torque_oscillation", "N m"),
    ("position_reference", "rad"),
)
"""Name and unit of the logged signals, in the order of ``enum rig_signal``."""


_PER_SEQUENCER_TICK = ("state", "row", "inputs", "variables", "outputs", "signals")


@dataclass(frozen=True, slots=True)
class Override:
    """From sequencer tick ``start`` to before tick ``stop`` an input has a value of our choice."""

    start: int
    stop: int
    input: str
    value: int


@dataclass(frozen=True, slots=True)
class RigLog:
    """What a run left, one line per sequencer tick (n of them)."""

    state: NDArray[np.int32]
    """(n,) index of the state after the tick."""
    row: NDArray[np.int32]
    """(n,) index of the row taken."""
    inputs: NDArray[np.int32]
    """(n, inputs) as the table saw them."""
    variables: NDArray[np.int32]
    """(n, variables) after the tick."""
    outputs: NDArray[np.int32]
    """(n, outputs) after the tick."""
    signals: NDArray[np.float32]
    """(n, len(SIGNALS)) at the end of the control ticks before this sequencer tick."""
    control: NDArray[np.int32]
    """(control ticks, 2) torque command and speed error, raw Q4.24, if they were asked for."""

    def __len__(self) -> int:
        return len(self.state)

    def until(self, ticks: int) -> RigLog:
        """Return the first so many sequencer ticks of the record."""
        control = len(self.control) // max(1, len(self)) * ticks
        parts = {name: getattr(self, name)[:ticks] for name in _PER_SEQUENCER_TICK}
        return RigLog(**parts, control=self.control[:control])

    def signal(self, name: str) -> NDArray[np.float32]:
        """Return one logged signal, (n,); KeyError if there is none of that name."""
        return self.signals[:, {signal: k for k, (signal, _) in enumerate(SIGNALS)}[name]]


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
        self._capacity = int(longest_s / (trial.tick_us * 1e-6))
        self._ticks = 0
        drive = configuration.drive(ffi, machine, trial)
        self._make_log(drive.sequencer_ticks if log_control else 0)
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

    def _make_log(self, control_ticks: int) -> None:
        rows, trial = self._capacity, self._trial
        # Not filled: only lines that have been written are ever read.
        self._arrays = {
            "state": np.empty(rows, np.int32),
            "row": np.empty(rows, np.int32),
            "inputs": np.empty((rows, max(1, len(trial.inputs))), np.int32),
            "variables": np.empty((rows, max(1, len(trial.variables))), np.int32),
            "outputs": np.empty((rows, max(1, len(trial.outputs))), np.int32),
            "signals": np.empty((rows, len(SIGNALS)), np.float32),
            "control": np.empty((rows * control_ticks, 2), np.int32),
        }
        self._log = self._ffi.new("rig_log *")
        self._log.capacity = rows
        self._log.control_capacity = rows * control_ticks
        for name, array in self._arrays.items():
            pointer = self._ffi.typeof(getattr(self._log, name))
            setattr(self._log, name, self._ffi.cast(pointer, array.ctypes.data))

    def _overrides(self, overrides: Iterable[Override]) -> Any:
        numbers = {signal.name: number for number, signal in enumerate(self._trial.inputs)}
        entries = [
            {"from": o.start, "until": o.stop, "input": numbers[o.input], "value": o.value}
            for o in overrides
        ]
        return self._ffi.new("rig_override[]", entries)

    def advance(self, sequencer_ticks: int) -> int:
        """Run so many sequencer ticks more, or fewer if the run ends; return all so far."""
        self._ticks = self._library.rig_advance(self._rig, self._log, sequencer_ticks)
        return self._ticks

    @property
    def resting(self) -> bool:
        """Whether the trial has come to an end and rested there for a moment."""
        return bool(self._library.rig_ended(self._rig))

    @property
    def ended(self) -> bool:
        """Whether the trial rests at an end, or the longest time is over."""
        return self.resting or self._ticks >= self._capacity

    def log(self, since: int = 0) -> RigLog:
        """Return a copy of the record from sequencer tick ``since`` on."""
        arrays, part = self._arrays, slice(since, self._ticks)
        per_tick = len(arrays["control"]) // max(1, self._capacity)
        return RigLog(
            **{name: arrays[name][part].copy() for name in _PER_SEQUENCER_TICK},
            control=arrays["control"][since * per_tick : self._ticks * per_tick].copy(),
        )
