"""Ranges of every expression in the exported detector, its filters and the test pulse.

The C source itself is read (preprocessed text) and executed abstractly on all inputs and all states
that the headers allow; what the headers promise about structures is shown to be kept. Timing,
memory and everything outside these functions are not looked at.
"""

from __future__ import annotations

from collections.abc import Sequence

from gainwright_proof.c_checks.c_source.errors import UnsupportedC
from gainwright_proof.c_checks.c_source.interpreter import Interpreter
from gainwright_proof.c_checks.c_source.places import Promises
from gainwright_proof.c_checks.c_source.rows import RangeRow, place_of
from gainwright_proof.c_checks.c_source.tables import table_rows
from gainwright_proof.c_checks.c_source.types import Program
from gainwright_proof.c_checks.runtime_ranges import RUNTIME_LENGTHS, RUNTIME_RANGES

__all__ = ["ENTRY_FUNCTIONS", "RangeRow", "UnsupportedC", "machine_ranges", "source_ranges"]

ENTRY_FUNCTIONS = (
    "gw_detector_reset",
    "gw_detector_sample",
    "gw_pulse_reset",
    "gw_pulse_start",
    "gw_pulse_sample",
)
"""What is executed; everything that they call is followed."""

PROMISES = Promises(RUNTIME_RANGES, RUNTIME_LENGTHS)


def source_ranges(
    text: str, functions: Sequence[str] = ENTRY_FUNCTIONS, promises: Promises = PROMISES
) -> tuple[RangeRow, ...]:
    """Return derived and allowed range of every expression that could leave it.

    Args:
        text: preprocessed C with the given functions and all that they call.
        functions: where execution starts.
        promises: ranges of structure members, on entry and to be kept.

    Raises:
        UnsupportedC: the text is no C, or uses something that the analysis does not understand.
    """
    interpreter = Interpreter(Program.parse(text), promises)
    for function in functions:
        interpreter.run(function)
    rows = interpreter.rows.rows()
    if "gw_detector_sample" in functions:
        rows = (*rows, block_sum(text, promises))
    return rows


def machine_ranges(text: str) -> tuple[RangeRow, ...]:
    """Return the promised ranges of the tables of ``gw_machine.c`` (preprocessed text).

    Raises:
        UnsupportedC: as :func:`source_ranges`.
    """
    return table_rows(Program.parse(text), PROMISES)


def block_sum(text: str, promises: Promises = PROMISES) -> RangeRow:
    """Return the range of the energy of the longest block that has not ended.

    One square at a time is added; the ranges of single expressions cannot count them. Derived
    here: one less than the longest block's squares of what the filter returns. Allowed: the limit
    that the source puts on the sum, which therefore never changes a value.
    """
    program = Program.parse(text)
    filtered = Interpreter(program, promises).run("filter")
    limit = next(
        (
            item
            for item in program.functions["add_square"].body.block_items
            if getattr(item, "name", None) == "most"
        ),
        None,
    )
    if filtered is None or limit is None:
        raise UnsupportedC("filter and add_square are not as this analysis knows them")
    longest = promises.ranges["gw_level_settings"]["block_ticks"][1]
    largest = max(abs(end) for end in filtered) ** 2
    return RangeRow(
        place=place_of(limit),
        function="add_square",
        expression=f"sum of {longest - 1} squares of filter()",
        kind="limit of the sum",
        derived=(0, (longest - 1) * largest),
        allowed=(0, program.constant(limit.init)),
    )
