"""A bench: the exported C of a trial, compiled with the rig, ready for one machine or many."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from gainwright.language.model import Trial
from gainwright.semantics.machine import ReferenceMachine
from gainwright.semantics.monitor import Violation
from gainwright.semantics.run_monitor import Run, RunMonitor, RunWatch
from gainwright_codegen.axis_c.machine import control_ticks, machine_tables
from gainwright_codegen.axis_c.tables import StageTables, axis_tables
from gainwright_codegen.axis_c.text import machine_sources
from gainwright_codegen.sources import runtime_sources, trial_sources
from gainwright_sim.machine import Machine
from gainwright_sim.rig.axis import axis_data
from gainwright_sim.rig.configuration import check_rig_inputs
from gainwright_sim.rig.fit import check_fit
from gainwright_sim.rig.library import load_rig
from gainwright_sim.rig.log import RigLog
from gainwright_sim.rig.run import FOR_EVER, Override, Rig
from gainwright_sim.rig.tables import MachineInMemory

Moment = tuple[np.ndarray, np.ndarray, np.ndarray]
"""State, variables and outputs, each with one row."""


def _power_on(trial: Trial) -> Moment:
    machine = ReferenceMachine(trial)
    variables, outputs = machine.variables.values(), machine.outputs().values()
    return (
        np.array([trial.index.states[machine.state]]),
        np.array([list(variables) or [0]]),
        np.array([list(outputs) or [0]]),
    )


class RequirementJudge:
    """Judges every requirement once at each moment of a run, part by part as the run comes."""

    def __init__(self, watch: RunWatch, power_on: Moment) -> None:
        """``power_on`` is the moment before the first tick."""
        self._watch = watch
        self._last = power_on

    def add(self, log: RigLog) -> list[Violation]:
        """Return the first violation of each requirement not violated before, in order of time."""
        states, variables, outputs = (
            np.concatenate([before, now])
            for before, now in zip(self._last, (log.state, log.variables, log.outputs), strict=True)
        )
        self._last = states[-1:], variables[-1:], outputs[-1:]
        return self._watch.add(Run(states, variables, outputs, log.inputs))


class Bench:
    """Compiles once per trial (and machine, unless ``changeable``); then makes rigs.

    Args:
        trial: what is rehearsed.
        machine: whose tables are compiled in.
        changeable: no machine is compiled in; any may be mounted, and ``machine`` is at first. A
            test shows that this makes no difference.
        asked: inputs by which the operator asks for something, all the time.

    Raises:
        InputError: the trial has inputs that the rig does not know, the machine lacks what a stage
            needs or (unless ``changeable``) does not keep to the trial's times, or the C cannot be
            compiled.
    """

    def __init__(
        self,
        trial: Trial,
        machine: Machine,
        changeable: bool = False,
        asked: Iterable[str] = (),
    ) -> None:
        check_rig_inputs(trial)
        self._asked = tuple(Override(0, FOR_EVER, name, 1) for name in asked)
        self.trial = trial
        self._monitor, self._power_on = RunMonitor(trial), _power_on(trial)
        axis = axis_data(machine)
        exported = runtime_sources() | trial_sources(trial)
        self._changeable = changeable
        self.machine = machine
        self.tables: tuple[StageTables, ...] = axis_tables(trial, axis)
        if changeable:
            self._ffi, self._library = load_rig(exported)
            self._mounted = self._in_memory()
        else:
            check_fit(trial, machine, self.tables)
            tables = machine_tables(trial, axis)
            exported |= machine_sources(tables)
            self._ffi, self._library = load_rig(exported, tables.object)
            self._gw_machine = self._ffi.addressof(self._library, tables.object)

    def mount(self, machine: Machine) -> None:
        """Put a machine on a changeable bench; InputError if it does not fit the trial."""
        if not self._changeable:
            raise ValueError("this bench was compiled for one machine only")
        tables = axis_tables(self.trial, axis_data(machine))
        check_fit(self.trial, machine, tables)
        self.machine, self.tables = machine, tables
        self._mounted = self._in_memory()

    def _in_memory(self) -> MachineInMemory:
        axis = axis_data(self.machine)
        ticks, tick_s = control_ticks(self.trial, axis), axis.timing.control_tick_s
        made = MachineInMemory(self._ffi, self.tables, ticks, tick_s)
        self._gw_machine = made.pointer
        return made

    def judge(self) -> RequirementJudge:
        """Return a judge of the trial's requirements for one run."""
        return RequirementJudge(self._monitor.watch(), self._power_on)

    def rig(self, seed: int, **options: Any) -> Rig:
        """Return a new run on the mounted machine; options as :class:`Rig`."""
        return Rig(
            self._ffi, self._library, self.trial, self.machine, self.tables, self._gw_machine, seed,
            **options | {"overrides": [*self._asked, *options.get("overrides", ())]},
        )  # fmt: skip
