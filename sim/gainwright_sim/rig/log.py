"""The record of a run: what it holds, and the memory that the C loop writes it to."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cffi
import numpy as np
from numpy.typing import NDArray

from gainwright.language.model import Trial

SIGNALS = (
    ("position", "rad"),
    ("speed", "rad/s"),
    ("load_speed", "rad/s"),
    ("torque_lowest", "N m"),  # torque command in the sequencer tick
    ("torque_highest", "N m"),
    ("speed_error", "rad/s"),
    ("torque_oscillation", "N m"),  # highest, high-passed, test pulse added
    ("position_reference", "rad"),
    ("measured_torque", "N m"),
    ("mean_speed", "rad/s"),  # measured
    ("predicted_limit", "rung"),  # from rung 0 on, negative: no prediction
    ("predicted_result", "rung"),  # likewise, of the wanted margins
    ("prediction_spread", "1"),  # share of the limit
    ("load_position", "rad"),  # of the sensor at the load, 0 without one
    ("load_decay", "1/s"),  # as evaluated last
    ("load_frequency", "Hz"),
    ("load_limit", "1/s"),  # from all decays so far, 0: none yet
    ("swing_judged_from", "Hz"),  # what swings by itself, in the last margins; 0: not judged
)
"""Name and unit of the logged signals."""


_PER_SEQUENCER_TICK = ("state", "row", "inputs", "variables", "outputs", "signals")

BLOCK_TICKS = 2048
"""Sequencer ticks per block of memory: small blocks come back from the last run, while large ones
are new to the operating system each time, which slows a run by a third."""


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


class LogMemory:
    """Blocks of arrays that a ``rig_log`` points to; what has not been written holds anything.

    Args:
        control_ticks: per sequencer tick, to be kept; 0 for none.
    """

    def __init__(self, ffi: cffi.FFI, trial: Trial, control_ticks: int) -> None:
        self._ffi = ffi
        self._shapes: dict[str, tuple[tuple[int, ...], type]] = {
            "state": ((), np.int32),
            "row": ((), np.int32),
            "inputs": ((max(1, len(trial.inputs)),), np.int32),
            "variables": ((max(1, len(trial.variables)),), np.int32),
            "outputs": ((max(1, len(trial.outputs)),), np.int32),
            "signals": ((len(SIGNALS),), np.float32),
            "control": ((control_ticks, 2), np.int32),
        }
        self._blocks: list[dict[str, NDArray[Any]]] = []
        self.pointer: Any = ffi.new("rig_log *")
        self.pointer.capacity = BLOCK_TICKS
        self.pointer.control_ticks = control_ticks
        self.extend()

    @property
    def ticks(self) -> int:
        """Sequencer ticks that there is room for."""
        return len(self._blocks) * BLOCK_TICKS

    def extend(self) -> None:
        """Add a block and let the ``rig_log`` point to it."""
        self.pointer.first = self.ticks
        block = {
            name: np.empty((BLOCK_TICKS, *shape), kind)
            for name, (shape, kind) in self._shapes.items()
        }
        for name, array in block.items():
            kind = self._ffi.typeof(getattr(self.pointer, name))
            setattr(self.pointer, name, self._ffi.cast(kind, array.ctypes.data))
        self._blocks.append(block)

    def copy(self, start: int, stop: int) -> RigLog:
        """Return a copy of the sequencer ticks from ``start`` to before ``stop``."""
        first = start // BLOCK_TICKS
        blocks = self._blocks[first : max(first + 1, math.ceil(stop / BLOCK_TICKS))]
        part = slice(start - first * BLOCK_TICKS, stop - first * BLOCK_TICKS)
        parts = {
            name: np.concatenate([block[name] for block in blocks])[part] for name in self._shapes
        }
        parts["control"] = parts["control"].reshape(-1, 2)
        return RigLog(**parts)
