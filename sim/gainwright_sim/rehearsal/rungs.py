"""The rung table of a rehearsal: what was seen at each rung of a stage."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from gainwright.detector.settings import LEVEL_ONE
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_sim.rehearsal.rehearse import Rehearsal


@dataclass(frozen=True, slots=True)
class RungLine:
    """One stay at one rung."""

    rung: int
    gain: float
    """In the stage's unit."""
    from_s: float
    until_s: float
    ring_level_peak: int
    """Largest ring level; 256 is silence."""
    ring_time_s: float
    """Time for which the ring level was above silence."""
    burst_level_peak: int
    """Largest burst level; 256 is a burst."""
    oscillation_of_limit: float
    """Largest torque oscillation, of the torque limit."""


def rung_table(rehearsal: Rehearsal, table: StageTables) -> list[RungLine]:
    """Return one line for each stay at a rung, in the order of time."""
    rungs = rehearsal.output(table.stage.rung)
    edges = [0, *(np.flatnonzero(np.diff(rungs)) + 1), len(rungs)]
    return [_line(rehearsal, table, int(a), int(b)) for a, b in pairwise(edges) if b > a]


def _line(rehearsal: Rehearsal, table: StageTables, start: int, stop: int) -> RungLine:
    tick_s = rehearsal.trial.tick_us * 1e-6
    part = slice(start, stop)
    names = {signal.name for signal in rehearsal.trial.inputs}
    ring, burst = (
        rehearsal.input(name)[part] if name in names else np.zeros(stop - start, int)
        for name in ("ring_level", "burst_level")
    )
    oscillation = rehearsal.log.signal("torque_oscillation")[part]
    rung = int(rehearsal.output(table.stage.rung)[start])
    return RungLine(
        rung=rung,
        gain=table.gains[rung],
        from_s=round(start * tick_s, 6),
        until_s=round(stop * tick_s, 6),
        ring_level_peak=int(ring.max()),
        ring_time_s=round(int((ring >= LEVEL_ONE).sum()) * tick_s, 6),
        burst_level_peak=int(burst.max()),
        oscillation_of_limit=float(oscillation.max() / rehearsal.machine.drive.torque_limit_nm),
    )
