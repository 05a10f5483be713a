"""How fast the rig is, against real time, a bare C loop and a loop stepped with numpy.

All three close the same loop on the same machine: two masses, friction, encoder, noise, moves and
speed controller. Only the rig has the exported detector and sequencer in it, and keeps a record.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from gainwright.language.model import Trial
from gainwright_sim.benchmark.bare_loop import BareLoop
from gainwright_sim.machine import Machine
from gainwright_sim.plant.axis import DiscreteAxis
from gainwright_sim.plant.loop import DriveLoop
from gainwright_sim.plant.move import MoveGenerator
from gainwright_sim.rehearsal.bench import Bench

SEED = 1
SLICE_TICKS = 500
"""Sequencer ticks that are timed at once: short, so that other programs seldom interrupt."""
TURN_SHARE = 0.73
"""Turning points of the bare and the Python loop, share of half the travel window."""
PYTHON_TICKS = 20_000
REAL_TIME_GOAL = 1000.0
BARE_GOAL = 1.5


@dataclass(frozen=True, slots=True)
class RigSpeed:
    """Processor time per control tick of one search, on one core."""

    machine: str
    control_tick_s: float
    machine_time_s: float
    """Of one search."""
    rig_s: float
    bare_s: float
    python_s: float

    @property
    def real_time_factor(self) -> float:
        """Machine time over processor time of the rig."""
        return self.control_tick_s / self.rig_s

    @property
    def over_bare(self) -> float:
        return self.rig_s / self.bare_s

    @property
    def over_numpy(self) -> float:
        return self.rig_s / self.python_s


def measure(trial: Trial, machine: Machine, repeats: int = 20) -> RigSpeed:
    """Time one search ``repeats`` times, in turns with the other loops.

    A search is timed in slices; of each slice the fastest of all repeats counts, so that other
    programs on the same processor disturb little.

    Raises:
        ValueError: the machine has not two masses, or has a brake.
        InputError: as :class:`Bench`.
    """
    bench = Bench(trial, machine, changeable=True)  # as campaigns use it
    slices = search_ticks(bench) // SLICE_TICKS
    rigs, bares = [], []
    for _ in range(repeats):
        rigs.append(_times(bench.rig(seed=SEED).advance, slices))
        bares.append(_times(bare_loop(trial, machine).run, slices))
    machine_time_s = slices * SLICE_TICKS * trial.tick_us * 1e-6
    ticks = machine_time_s / machine.drive.control_tick_s
    return RigSpeed(
        machine=machine.name,
        control_tick_s=machine.drive.control_tick_s,
        machine_time_s=machine_time_s,
        rig_s=_fastest(rigs) / ticks,
        bare_s=_fastest(bares) / ticks,
        python_s=python_loop_s(machine),
    )


def search_ticks(bench: Bench) -> int:
    """Return how many sequencer ticks a search takes."""
    rig = bench.rig(seed=SEED)
    return rig.advance(10**9)


def _times(advance: Callable[[int], object], slices: int) -> list[float]:
    """Return the processor time of each slice."""
    times = []
    for _ in range(slices):
        start = time.thread_time()
        advance(SLICE_TICKS)
        times.append(time.thread_time() - start)
    return times


def _fastest(times: list[list[float]]) -> float:
    return float(np.min(times, axis=0).sum())


def bare_loop(trial: Trial, machine: Machine) -> BareLoop:
    """Return the bare loop at the machine's start gain."""
    gain = machine.speed_loop.start_speed_gain_nms_per_rad
    turn_rad = TURN_SHARE * machine.motion.travel_window_rad / 2
    return BareLoop(machine, trial, (gain, gain), turn_rad, SEED)


def python_loop_s(machine: Machine, ticks: int = PYTHON_TICKS) -> float:
    """Return the processor time per tick of the Python drive loop on its numpy axis."""
    loop, move = DriveLoop(machine, DiscreteAxis(machine)), MoveGenerator(machine)
    noise_nm = machine.drive.torque_noise_per_unit * machine.drive.rated_torque_nm
    noise = (noise_nm * np.random.default_rng(SEED).standard_normal(ticks)).tolist()
    target = TURN_SHARE * machine.motion.travel_window_rad / 2
    start = time.thread_time()
    for value in noise:
        if move.resting:
            target = math.copysign(target, -move.position_rad)
        move.tick(target)
        loop.tick(
            move.position_rad,
            move.speed_rad_per_s,
            steady=move.steady,
            torque_noise_nm=value,
        )
    return (time.thread_time() - start) / ticks
