"""The compiled step of a trial for many moments at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.language.model import Trial
from gainwright_codegen.host import compile_and_load, read_sources
from gainwright_codegen.host.sequencer import CHECKERS
from gainwright_codegen.sources import sequencer_sources

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Table = NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class Moments:
    """Moments of a trial, one per lane."""

    states: NDArray[np.int32]
    variables: Table
    """Shape (lanes, number of variables, at least 1)."""

    def chosen(self, lanes: Any) -> Moments:
        return Moments(self.states[lanes], self.variables[lanes])


@dataclass(frozen=True, slots=True)
class Taken:
    """What ticks led to."""

    rows: NDArray[np.int32]
    """Row of the last tick, or a negative code."""
    ticks: NDArray[np.uint32]
    after: Moments


class Lanes:
    """The C of a trial, as it ships, stepped in lanes."""

    def __init__(self, trial: Trial, exported: Mapping[str, bytes] | None = None) -> None:
        """``exported`` is the C to run, if it is not what the exporter writes now."""
        wanted = sequencer_sources(trial)
        sources = wanted if exported is None else {name: exported[name] for name in wanted}
        self._slots = max(1, len(trial.variables))
        self._ffi, self._library = compile_and_load(
            {**sources, **read_sources(Path(__file__).parent, "*.h", "*.c")},
            ("gx_lanes.h",), CHECKERS, name="directed",
        )  # fmt: skip

    def reset(self) -> Moments:
        """Return the moment after reset, in one lane."""
        states = np.zeros(1, dtype=np.int32)
        variables = np.zeros((1, self._slots), dtype=np.int32)
        self._library.gx_lanes_reset(*self._pointers(states, variables))
        return Moments(states, variables)

    def hold(self, before: Moments, inputs: Table, most: NDArray[np.uint32]) -> Taken:
        """Take up to ``most`` ticks in each lane with the same inputs, as long as the state stays
        and the same row is taken; the last tick may take another row."""
        count = len(before.states)
        states, variables = before.states.copy(), np.ascontiguousarray(before.variables.copy())
        rows, ticks = np.zeros(count, dtype=np.int32), np.zeros(count, dtype=np.uint32)
        given = (np.ascontiguousarray(most), np.ascontiguousarray(inputs, dtype=np.int32))
        self._library.gx_lanes_hold(count, *self._pointers(*given, states, variables, rows, ticks))
        return Taken(rows, ticks, Moments(states, variables))

    def _pointers(self, *arrays: NDArray[Any]) -> list[Any]:
        kinds = {np.dtype(np.int32): "int32_t[]", np.dtype(np.uint32): "uint32_t[]"}
        return [self._ffi.from_buffer(kinds[a.dtype], a) for a in arrays]
