"""The loop response as the exported C has measured it last."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cffi
import numpy as np
from numpy.typing import NDArray

from gainwright.detector.response_settings import is_noise_line
from gainwright_codegen.axis_c.tables import StageTables

ONE = 4096.0
"""Of the exported ratios, Q12."""


@dataclass(frozen=True, slots=True)
class MeasuredResponse:
    """Y = -1 / L at the lines with excitation (n of them), and what noise there is."""

    rung: int
    """At which it was measured."""
    frequency_hz: NDArray[np.float64]
    """(n,)"""
    inverse: NDArray[np.complex128]
    """(n,) Y = -1 / L."""
    margins_until_hz: float
    """Above it noise may decide what margins there seem to be, and only crossings count."""
    noise_hz: NDArray[np.float64]
    """(m,) Lines without excitation."""
    noise: NDArray[np.float64]
    """(m,) |U / D|: what a ratio of torques there is by noise alone."""

    def open_loop(self, factor: float = 1.0) -> NDArray[np.complex128]:
        """Return L at so many times the gain that was measured at, (n,)."""
        return -factor / self.inverse


def measured_response(
    ffi: cffi.FFI, library: Any, rig: Any, table: StageTables, control_tick_s: float
) -> MeasuredResponse | None:
    """Return the last evaluated response; None if the trial measured none."""
    settings = table.response
    if settings is None:
        return None
    found = ffi.new("int32_t[2]")
    used, noise, rung = list[tuple[float, complex]](), list[tuple[float, complex]](), -1
    for line in range(settings.first_line, settings.last_line + 1):
        rung = library.rig_response_line(rig, line, found)
        place = settings.line_hz(line, control_tick_s), complex(found[0], found[1]) / ONE
        (noise if is_noise_line(line) else used).append(place)
    if rung < 0:
        return None
    return MeasuredResponse(
        rung=rung,
        frequency_hz=np.array([hz for hz, _ in used]),
        inverse=np.array([value for _, value in used]),
        margins_until_hz=settings.line_hz(2 * settings.flat_line, control_tick_s),
        noise_hz=np.array([hz for hz, _ in noise]),
        noise=np.array([1.0 / max(abs(value - 1.0), 1.0 / ONE) for _, value in noise]),
    )
