"""What the exported C knows of one machine: constants and tables, with format, scale and error."""

from __future__ import annotations

import re
from dataclasses import dataclass

from gainwright_codegen.c_text import plain

Value = int | str | tuple["Value", ...]
"""A number, the C name of something else, or the members of an array or structure."""


@dataclass(frozen=True, slots=True)
class MachineConstant:
    """An integer constant of the preprocessor."""

    name: str
    value: int
    comment: str
    """Meaning, with unit or Q format."""


@dataclass(frozen=True, slots=True)
class MachineTable:
    """One ``const`` object of ``gw_machine_NAME.c``."""

    c_type: str
    """Type of the elements: ``int32_t`` or a structure of a runtime header."""
    name: str
    values: Value
    """A tuple for every array and structure, down to numbers and names."""
    comment: str
    """Meaning, with Q format, scale and error bound of what was quantised."""
    extents: tuple[str, ...] = ()
    """Sizes of the array, outermost first, as C text; empty for a single object."""
    private: bool = False
    """True for what only other tables refer to: ``static``, not in the header."""


@dataclass(frozen=True, slots=True)
class MachineTables:
    """All of ``gw_machine_NAME.h`` and ``gw_machine_NAME.c``."""

    name: str
    """Name of the machine description."""
    title: str
    digest: str
    """SHA-256 (hex) of the machine description."""
    control_tick_us: float
    """Period of the control tick that the filters were made for."""
    rated_torque_nm: float
    """Torque signals are per unit of this."""
    top_speed_rad_per_s: float
    """Speed signals are per unit of this."""
    includes: tuple[str, ...]
    """Runtime headers that declare the types of the tables."""
    constants: tuple[MachineConstant, ...]
    tables: tuple[MachineTable, ...]
    """In an order in which a table comes after those it refers to."""
    checks: tuple[str, ...] = ()
    """Lines of the preprocessor behind the constants."""
    trial_digest: str = ""
    """SHA-256 (hex) of the trial that the tables are for."""

    @property
    def identifier(self) -> str:
        """Name of the machine as a part of C names."""
        return machine_identifier(self.name)

    @property
    def object(self) -> str:
        """C name of the machine's ``gw_machine``; its files are called the same."""
        return f"gw_machine_{self.identifier}"

    @property
    def prefix(self) -> str:
        """What the machine's macros begin with."""
        return f"GW_{self.identifier.upper()}"


def machine_identifier(name: str) -> str:
    """Return the name of a machine as a part of C names."""
    return re.sub(r"[^a-z0-9]+", "_", plain(name).lower())
