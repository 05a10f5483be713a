"""The hand-written C loop without detector and sequencer, compiled on first use."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from gainwright.language.model import Trial
from gainwright_codegen.host import compile_and_load, read_sources
from gainwright_sim.machine import Machine
from gainwright_sim.rig import configuration
from gainwright_sim.rig.library import FLAGS, SOURCE_DIRECTORY
from gainwright_sim.rig.names import names_header

_FOLDER = Path(__file__).parent
_RIG_HEADERS = (
    "rig_compensation.h",
    "rig_disturbance.h",
    "rig_friction.h",
    "rig_math.h",
    "rig_measured.h",
    "rig_model.h",
    "rig_motion.h",
    "rig_noise.h",
    "rig_plant.h",
)


class BareLoop:
    """Moves a two-mass axis back and forth between two turning points, once started.

    Args:
        machine: with two masses and no brake; its noise and speed loop apply.
        trial: whose sequencer tick decides how often arrival is looked at.
        gains: speed gains on the way down and up, Nms/rad.
        turn_rad: turning points are this far from the start, on either side.
        seed: of the torque noise.

    Raises:
        InputError: the C cannot be compiled.
    """

    def __init__(
        self, machine: Machine, trial: Trial, gains: tuple[float, float], turn_rad: float, seed: int
    ) -> None:
        if machine.chain.body_count != 2 or machine.brake is not None:
            raise ValueError("the bare loop is written for two masses without a brake")
        sources = read_sources(SOURCE_DIRECTORY, *_RIG_HEADERS) | names_header()
        sources |= read_sources(_FOLDER, "*.[ch]")
        ffi, self._library = compile_and_load(sources, ("bare_loop.h",), FLAGS, name="bare_loop")
        self._memory = np.zeros(self._library.bare_loop_size() // 8 + 1, dtype=np.int64)
        self._loop = ffi.cast("bare_loop *", self._memory.ctypes.data)
        self._library.bare_loop_start(
            self._loop,
            configuration.plant(ffi, machine),
            configuration.drive(ffi, machine, trial),
            *gains,
            turn_rad,
            seed,
        )

    def run(self, sequencer_ticks: int) -> None:
        """Run so many sequencer ticks more."""
        self._library.bare_loop_run(self._loop, sequencer_ticks)

    @property
    def angle_rad(self) -> float:
        """Where the motor is."""
        return self._library.bare_loop_angle(self._loop)
