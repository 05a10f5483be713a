"""Runs one rehearsal from start to end and judges every requirement on the way."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from gainwright.language.model import Trial
from gainwright.semantics.monitor import Violation
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_sim.machine import Machine
from gainwright_sim.rehearsal.bench import Bench
from gainwright_sim.rehearsal.start import refused_start
from gainwright_sim.rig.faults import SOUND, RigFault
from gainwright_sim.rig.log import RigLog
from gainwright_sim.rig.response import MeasuredResponse
from gainwright_sim.rig.run import Override

SLICE_S = 2.0
"""Machine time between two looks at progress and requirements."""
LONGEST_S = 900.0
ACTIVE_STAGE = "active_stage"
"""Output, the number of the stage that is tuned, of trials with more than one."""

Progress = Callable[[RigLog], None]
"""Called after each slice with the slice's own part of the record."""


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """What a rehearsal left."""

    trial: Trial
    machine: Machine
    tables: tuple[StageTables, ...]
    seed: int
    log: RigLog
    violations: tuple[Violation, ...]
    """Requirements that did not hold; the rehearsal ended there."""
    ended: bool
    """Whether the trial came to an end of its own."""
    response: MeasuredResponse | None = None
    """Loop response that was measured last, if the trial has it measured."""
    fault: RigFault = SOUND
    """What broke on the axis on the way."""

    @property
    def machine_time_s(self) -> float:
        return len(self.log) * self.trial.tick_us * 1e-6

    def states(self) -> np.ndarray:
        """Return the index of the state at each moment, before the first tick too, (n + 1,)."""
        first = self.trial.index.states[self.trial.initial_state]
        return np.concatenate([[first], self.log.state])

    def ends_with(self, name: str) -> bool:
        """Whether the trial has an output of that name and it is not 0 at the end."""
        names = {signal.name for signal in self.trial.outputs}
        return name in names and len(self.log) > 0 and bool(self.output(name)[-1])

    def output(self, name: str) -> np.ndarray:
        """Return an output over time, (n,); KeyError if the trial has none of that name."""
        places = self.trial.index.outputs
        return self.log.outputs[:, places[name]]

    def tuned(self, stage: int) -> np.ndarray:
        """Return at which moments a stage, by its number, is the one that is tuned, (n,).

        A trial with one stage, or without an output of the name that the runtime knows, always
        tunes its only stage.
        """
        places = self.trial.index.outputs
        if ACTIVE_STAGE not in places:
            return np.ones(len(self.log), dtype=bool)
        return self.output(ACTIVE_STAGE) == stage

    def settings(self, tick: int) -> dict[str, float]:
        """Return the value of each staged setting that applies at a tick, in its unit."""
        return {
            table.kind.setting: table.gains[int(self.output(table.stage.rung)[tick])]
            for table in self.tables
        }

    def variable(self, name: str) -> np.ndarray:
        """Return a variable over time, (n,); KeyError if the trial has none of that name."""
        places = self.trial.index.variables
        return self.log.variables[:, places[name]]

    def input(self, name: str) -> np.ndarray:
        """Return an input over time, (n,); KeyError if the trial has none of that name."""
        places = self.trial.index.inputs
        return self.log.inputs[:, places[name]]


def rehearse(
    bench: Bench,
    seed: int,
    progress: Progress | None = None,
    overrides: Iterable[Override] = (),
    log_control: bool = False,
    exact_ticks: int | None = None,
    fault: RigFault = SOUND,
    limits_elsewhere: Mapping[str, int] | None = None,
) -> Rehearsal:
    """Rehearse the bench's trial on its machine.

    Args:
        bench: with the machine mounted.
        seed: of the torque noise, 0 to 2**64 - 1.
        progress: told after each slice.
        overrides: inputs to force for a while.
        log_control: keep the detector's samples of every control tick.
        fault: what breaks on the axis on the way.
        limits_elsewhere: by stage, the lowest rung at which its search ended at another place.
        exact_ticks: run just so many sequencer ticks, whatever the trial does.
    """
    trial = bench.trial
    rig = bench.rig(
        seed,
        longest_s=LONGEST_S,
        overrides=overrides,
        log_control=log_control,
        exact_ticks=exact_ticks,
        fault=fault,
        limits_elsewhere=limits_elsewhere,
    )
    slice_ticks = max(1, round(SLICE_S / (trial.tick_us * 1e-6)))
    judge, ticks, violations = bench.judge(), 0, list[Violation]()
    while not rig.ended and not violations:
        before, ticks = ticks, rig.advance(slice_ticks)
        part = rig.log(before)
        violations = judge.add(part)
        if progress is not None:
            progress(part)
        if exact_ticks is None and before == 0 and refused_start(trial, part) is not None:
            break
    log = rig.log()
    if violations:
        log = log.until(violations[0].tick)
    return Rehearsal(
        trial=trial,
        machine=bench.machine,
        tables=bench.tables,
        seed=seed,
        log=log,
        violations=tuple(violations),
        ended=rig.resting and not violations,
        response=rig.response(),
        fault=fault,
    )
