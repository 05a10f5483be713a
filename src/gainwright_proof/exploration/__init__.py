"""Exhaustive exploration: everything a trial can do, run on the compiled C that ships.

Variables are explored in full, times too: values of a timer that only lead to the next are walked
through instead of kept (``gx_pass.h``), which changes no count and no time. Inputs are represented
by vectors that stand for all others, see :mod:`vectors`.

:func:`explore` is the entry. Order of work: :mod:`vectors` finds the inputs to try
(:mod:`questions`, :mod:`features`, :mod:`behaviour`), :mod:`model_source` writes the C that goes
with the exported sources, :mod:`engine` runs the search (``gx_*.c``), :mod:`judge` turns what it
found into findings, :mod:`one_step` tries values that no specification names, :mod:`vacuity` asks
whether premises occur, :mod:`run_file` and :mod:`replay` keep runs that show something.
"""

from gainwright_proof.exploration.exploration import Exploration, explore
from gainwright_proof.exploration.limits import Limits
from gainwright_proof.exploration.replay import MachinesDifferError, Replay, confirms, replay_run
from gainwright_proof.exploration.run_file import HeldInputs, Run, read_run, run_text
from gainwright_proof.exploration.vacuity import Vacuity

__all__ = [
    "Exploration",
    "HeldInputs",
    "Limits",
    "MachinesDifferError",
    "Replay",
    "Run",
    "Vacuity",
    "confirms",
    "explore",
    "read_run",
    "replay_run",
    "run_text",
]
