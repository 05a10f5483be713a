"""The part of a ``gw_machine`` by which the loop response is measured."""

from __future__ import annotations

from gainwright_codegen.axis_c.layout import MachineTable
from gainwright_codegen.axis_c.tables import StageTables
from gainwright_codegen.axis_c.text import number

RESPONSE_SCALARS = (
    "step", "stride", "point_shift", "settle_ticks", "least_periods", "window", "window_more",
    "first_line", "last_line", "gap_from", "gap_to", "flat_line", "exponent", "tangent",
    "inverse_square", "margin", "octave", "agreement", "shaken",
)  # fmt: skip
"""Members of ``gw_response_settings`` after its pointers, in their order."""


def response_arrays(place: int, stage: StageTables) -> tuple[MachineTable, ...]:
    """Return the test signal of a stage and its spectrum; nothing where it is not measured."""
    if stage.response is None:
        return ()
    words = tuple(word for line in stage.response.lines for word in line)
    return tuple(
        MachineTable(c_type, f"{name}_{place}", values, f"{stage.stage.title}, {note}",
                     (str(len(values)),), private=True)
        for c_type, name, values, note in (
            ("int8_t", "test_signal", stage.response.shape,
             "one period of the test signal, in parts of its height; its sum is 0."),
            ("int16_t", "test_lines", words,
             "Fourier sum of the test signal behind the high-pass, real and imaginary part of "
             "each line; error at most 2^-16 of the largest."),
        )
    )  # fmt: skip


def response_initialiser(place: int, stage: StageTables) -> str:
    """Return the last member of a ``gw_machine_stage``; nothing where it is not measured."""
    if stage.response is None:
        return ""
    scalars = (
        f"                      .{name} = {number(getattr(stage.response, name))}"
        for name in RESPONSE_SCALARS
    )
    return (
        f",\n         .response = {{.shape = test_signal_{place}, .lines = test_lines_{place},\n"
        + ",\n".join(scalars)
        + "}"
    )
