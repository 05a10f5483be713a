"""The rig's C header of names, from the lists that Python has of them: nothing is listed twice."""

from __future__ import annotations

from collections.abc import Iterable

from gainwright.stage_kind import DRIVE_SETTINGS
from gainwright_sim.rig.configuration import DRIVE_INPUTS, OBEYED_OUTPUTS
from gainwright_sim.rig.faults import FAULT_KINDS, NO_FAULT
from gainwright_sim.rig.log import SIGNALS

NAMES_FILE = "rig_names.h"


def names_header() -> dict[str, str]:
    """Return the text of ``rig_names.h`` by its name: what both languages must number alike."""
    enumerations = (
        _enumeration("setting", "RIG_", DRIVE_SETTINGS, "which a stage may tune"),
        _enumeration("input", "RIG_", DRIVE_INPUTS, "of the trial that the drive supplies"),
        _enumeration("output", "RIG_", OBEYED_OUTPUTS, "of the trial that the drive obeys"),
        _enumeration("signal", "RIG_SIGNAL_", (name for name, _ in SIGNALS), "of the record"),
        _enumeration("fault_kind", "RIG_FAULT_", (NO_FAULT, *FAULT_KINDS), "of the axis"),
    )
    text = (
        "/* Rig: names that Python and C share. Written by gainwright_sim.rig.names. */\n"
        "#ifndef GW_RIG_NAMES_H\n#define GW_RIG_NAMES_H\n\n"
    )
    return {NAMES_FILE: f"{text}{''.join(enumerations)}#endif\n"}


def _enumeration(name: str, prefix: str, members: Iterable[str], subject: str) -> str:
    lines = "".join(f"    {prefix}{member.upper()},\n" for member in members)
    count = f"    RIG_{name.upper()}_COUNT\n"
    return f"/* {name.capitalize()} {subject}. */\nenum rig_{name} {{\n{lines}{count}}};\n\n"
