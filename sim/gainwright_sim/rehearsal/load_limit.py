"""The limit of a position loop over the load, from the decay of its ringing at a few low gains."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gainwright_codegen.axis_c.tables import StageTables
from gainwright_sim.rehearsal.rehearse import Rehearsal
from gainwright_sim.theory.closed_loop import LOAD_SETTING

EVALUATED = "decay_evaluated"
"""Input by which the drive says that it has evaluated four shakes."""


@dataclass(frozen=True, slots=True)
class Decay:
    """One evaluation."""

    time_s: float
    gain_per_s: float
    decay_per_s: float
    """Of the load's swinging; below 0 it grows."""
    sure: bool
    """Whether both directions agreed, as the trial asks."""


@dataclass(frozen=True, slots=True)
class LoadLimit:
    """What the decays say; no gain was near the limit."""

    limit_per_s: float
    """Gain at which the line through all decays meets zero."""
    own_decay_per_s: float
    """Where the line meets a gain of zero."""
    frequency_hz: float
    """Of the swinging, as heard last."""
    decays: tuple[Decay, ...]
    exact_share: float | None
    """Limit / exact limit; None without one."""
    highest_share: float
    """Highest gain that was applied, of the limit."""

    def in_words(self) -> str:
        """Return the limit, and what it rests on."""
        exact = "" if self.exact_share is None else f" ({self.exact_share:.3f} of the exact one)"
        return (
            f"{self.limit_per_s:.4g} 1/s{exact}, from the decay of the load's swinging in "
            f"{len(self.decays)} measurements at gains up to {self.highest_share:.0%} of it, not "
            f"crossed; by itself the load swings at {self.frequency_hz:.3g} Hz and loses "
            f"{self.own_decay_per_s:.3g} 1/s"
        )


def load_limit(rehearsal: Rehearsal, exact: float | None) -> LoadLimit | None:
    """Return what the last line said; None where a trial knows none, or only one decay.

    Args:
        rehearsal: of any trial.
        exact: limit by theory, 1/s.
    """
    table = load_table(rehearsal)
    if table is None:
        return None
    found = decays(rehearsal, table)
    sure = {decay.gain_per_s: decay.decay_per_s for decay in found if decay.sure}
    if len(sure) < 2:
        return None
    own = np.polyfit(list(sure), list(sure.values()), 1)[1]
    limit = float(rehearsal.log.signal("load_limit")[-1])
    if limit <= 0.0:
        return None
    rungs = rehearsal.output(table.stage.rung)
    return LoadLimit(
        limit_per_s=limit,
        own_decay_per_s=float(own),
        frequency_hz=float(rehearsal.log.signal("load_frequency")[-1]),
        decays=found,
        exact_share=None if exact is None else limit / exact,
        highest_share=table.gains[int(rungs.max())] / limit,
    )


def load_table(rehearsal: Rehearsal) -> StageTables | None:
    """Return the stage of the load's position gain, of a trial that hears the load."""
    if EVALUATED not in rehearsal.trial.index.inputs or len(rehearsal.log) == 0:
        return None
    return next((t for t in rehearsal.tables if t.kind.setting == LOAD_SETTING), None)


def decays(rehearsal: Rehearsal, table: StageTables) -> tuple[Decay, ...]:
    """Return every evaluation, in the order of time."""
    constants = {constant.name: constant.value for constant in rehearsal.trial.constants}
    bound = constants.get("decay_spread_bound", 0)
    evaluated = rehearsal.input(EVALUATED)
    ticks = np.flatnonzero(np.diff(evaluated, prepend=0) > 0)
    # The rung of the tick before: the trial may have changed it in the same tick.
    rungs = np.concatenate([[0], rehearsal.output(table.stage.rung)])
    return tuple(
        Decay(
            time_s=round(int(tick) * rehearsal.trial.tick_us * 1e-6, 6),
            gain_per_s=table.gains[int(rungs[tick])],
            decay_per_s=float(rehearsal.log.signal("load_decay")[tick]),
            sure=bool(rehearsal.input("decay_spread")[tick] <= bound),
        )
        for tick in ticks
    )
