"""The frequency of the oscillation at onset, from the samples that the detector saw."""

from __future__ import annotations

import numpy as np

from gainwright_codegen.axis_c.tables import StageTables
from gainwright_sim.rehearsal.rehearse import Rehearsal

WINDOW_S = 0.064
PADDING = 8
"""Zero padding of the transform: an eighth of its line spacing is resolved."""


def onset_frequency_hz(rehearsal: Rehearsal, table: StageTables, tick: int) -> float | None:
    """Return the strongest frequency of the torque command just before a sequencer tick.

    Largest line of a Hann-windowed, zero-padded discrete Fourier transform, above the corner of the
    detector's high-pass. None if the control ticks were not kept.
    """
    log = rehearsal.log
    per_tick = len(log.control) // max(1, len(log))
    if per_tick == 0:
        return None
    tick_s = rehearsal.machine.drive.control_tick_s
    end = tick * per_tick
    samples = log.control[max(0, end - round(WINDOW_S / tick_s)) : end, 0].astype(float)
    if len(samples) < 4:
        return None
    windowed = (samples - samples.mean()) * np.hanning(len(samples))
    spectrum = np.abs(np.fft.rfft(windowed, PADDING * len(samples)))
    frequencies = np.fft.rfftfreq(PADDING * len(samples), tick_s)
    spectrum[frequencies < table.detector.corner_hz] = 0.0
    return float(frequencies[int(np.argmax(spectrum))])
