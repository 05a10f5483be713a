"""Margins of a closed loop, read from the frequency response of its open loop.

The loop is opened where the torque command leaves the controller, so that speed loop, integral part
and position loop are all inside. Definitions as in any textbook (e.g. Ogata, "Modern Control
Engineering"; Astrom and Murray, "Feedback Systems"; cited from memory); the tests compare with
python-control.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize_scalar

from gainwright_sim.theory.closed_loop import ClosedLoop

GRID = 2000
LOWEST_SHARE = 1e-6
"""Lowest frequency of the grid, of half the sample rate."""


@dataclass(frozen=True, slots=True)
class Margins:
    """Of a stable loop."""

    gain_db: float | None
    """Smallest factor above 1 on the speed gain that reaches the limit, in dB; None if none does.
    """
    phase_deg: float
    """Smallest phase distance to the limit where the open loop has a gain of 1."""
    peak_sensitivity: float
    """Ms, the largest of 1 / |1 + L|."""


def margins(loop: ClosedLoop, gain: float) -> Margins:
    """Return the margins at a gain of :func:`gainwright_sim.theory.closed_loop.speed_loop`."""

    def response(angle: float) -> complex:
        return complex(open_loop(loop, gain, np.array([angle]))[0])

    grid = _grid(np.linalg.eigvals(loop.base))
    values = open_loop(loop, gain, grid)
    return Margins(
        _gain_margin_db(response, grid, values),
        _phase_margin_deg(response, grid, values),
        _peak(response, grid, values),
    )


def open_loop(loop: ClosedLoop, gain: float, angles: np.ndarray) -> np.ndarray:
    """Return L at angles in rad per tick, (n,).

    By solving, not by eigenvectors: delays and integrators make the matrix defective.
    """
    shifted = np.exp(1j * angles)[:, None, None] * np.eye(len(loop.base)) - loop.base
    columns = np.linalg.solve(shifted, np.asarray(loop.injection, dtype=complex)[:, None])
    return -gain * (columns[:, :, 0] @ loop.feedback)


def _grid(poles: np.ndarray) -> np.ndarray:
    """Return angles per tick: even on a logarithmic scale, and dense about resonances."""
    angles = [np.geomspace(LOWEST_SHARE * math.pi, math.pi * (1.0 - 1e-9), GRID)]
    for pole in poles:
        angle, width = abs(np.angle(pole)), max(abs(1.0 - abs(pole)), 1e-9)
        if 0.0 < angle < math.pi:
            angles.append(angle + width * np.linspace(-20.0, 20.0, 201))
    row = np.unique(np.concatenate(angles))
    return row[(row > 0.0) & (row < math.pi)]


def _gain_margin_db(response, grid: np.ndarray, values: np.ndarray) -> float | None:
    found = math.inf
    changes = (values.imag[:-1] < 0.0) != (values.imag[1:] < 0.0)
    for at in np.flatnonzero(changes & (values.real[:-1] < 0.0)):
        angle = brentq(lambda x: response(x).imag, grid[at], grid[at + 1], xtol=1e-15)
        factor = -1.0 / response(angle).real
        if factor > 1.0:
            found = min(found, 20.0 * math.log10(factor))
    return found if math.isfinite(found) else None


def _phase_margin_deg(response, grid: np.ndarray, values: np.ndarray) -> float:
    found = 180.0
    size = np.abs(values) > 1.0
    for at in np.flatnonzero(size[:-1] != size[1:]):
        angle = brentq(lambda x: abs(response(x)) - 1.0, grid[at], grid[at + 1], xtol=1e-15)
        found = min(found, 180.0 - abs(math.degrees(np.angle(response(angle)))))
    return found


def _peak(response, grid: np.ndarray, values: np.ndarray) -> float:
    at = int(np.argmin(np.abs(1.0 + values)))
    low, high = grid[max(at - 1, 0)], grid[min(at + 1, len(grid) - 1)]
    best = minimize_scalar(lambda x: abs(1.0 + response(x)), bounds=(low, high), method="bounded")
    return float(1.0 / min(abs(1.0 + values[at]), best.fun))
