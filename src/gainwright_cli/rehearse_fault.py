"""``gainwright rehearse --fault``: something breaks on the simulated axis, and nobody says so."""

from __future__ import annotations

import argparse
import math
from typing import TYPE_CHECKING

from gainwright_cli.console import refuse, refuse_beside

if TYPE_CHECKING:
    from gainwright.language.model import Trial
    from gainwright_sim.rig.faults import RigFault


def add_fault_option(parser: argparse.ArgumentParser) -> None:
    from gainwright_sim.rig.faults import FAULT_KINDS

    kinds = "; ".join(f"{kind.name}: {kind.words}" for kind in FAULT_KINDS.values())
    kinds = kinds.replace("%", "%%")  # what a help text would take for a format
    parser.add_argument(
        "--fault",
        type=_fault,
        metavar="KIND@SECONDS",
        help=f"what breaks on the axis, unsaid, and when, such as position_frozen@3.5 ({kinds})",
    )


def _fault(text: str) -> tuple[str, float]:
    from gainwright_sim.rehearsal.rehearse import LONGEST_S
    from gainwright_sim.rig.faults import FAULT_KINDS

    kind, _, seconds = text.partition("@")
    try:
        at_s = float(seconds)
    except ValueError:
        at_s = math.nan
    if kind not in FAULT_KINDS or not 0.0 <= at_s <= LONGEST_S:
        raise argparse.ArgumentTypeError(
            f"found {text!r}, expected KIND@SECONDS such as position_frozen@3.5, with a kind of "
            f"{', '.join(FAULT_KINDS)} and 0 to {LONGEST_S:g} s"
        )
    return kind, at_s


def check_fault(arguments: argparse.Namespace) -> None:
    """Refuse options that a broken axis does not go with."""
    given = {
        "--repeat": arguments.repeat > 1,
        "--everywhere": arguments.everywhere,
        "--then": bool(arguments.then),
    }
    refuse_beside(
        "--fault", arguments.fault is not None, given, "one rehearsal on one axis that breaks",
        "leave one out",
    )  # fmt: skip


def rig_fault(arguments: argparse.Namespace, trial: Trial) -> RigFault:
    """Return the fault that is asked for, its moment in sequencer ticks of the trial."""
    from gainwright_sim.rig.faults import SOUND, RigFault

    if arguments.fault is None:
        return SOUND
    kind, at_s = arguments.fault
    fault = RigFault(kind, round(at_s / (trial.tick_us * 1e-6)))
    if fault.input is not None and fault.input not in trial.index.inputs:
        raise refuse(
            "--fault", f"{kind} in trial {trial.name}", f"a trial with the input {fault.input}",
            "name another kind, or give the trial that input",
        )  # fmt: skip
    return fault
