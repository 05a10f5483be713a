"""What was heard, in words and as documented keys."""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path
from typing import Any

import numpy as np

from gainwright.detector.settings import LEVEL_ONE
from gainwright.language.digest import canonical
from gainwright.listening.blocks import Blocks
from gainwright.listening.calibration import Threshold
from gainwright.listening.grown import Grown
from gainwright.listening.growth import Growth
from gainwright.listening.listen import Listening
from gainwright.listening.onset import OnsetCause
from gainwright.listening.reference import QuietPart

_DIGITS = 9


def strongest(blocks: Blocks, settled_s: float) -> tuple[int, float] | None:
    """Return the highest level once the filter has settled, and its time in seconds.

    None if no block is complete by then.
    """
    heard = np.flatnonzero(blocks.starts_s >= settled_s)
    if len(heard) == 0:
        return None
    index = heard[np.argmax(blocks.values[heard])]
    return int(blocks.values[index]), float(blocks.ends_s[index])


def summary_keys(listening: Listening) -> dict[str, Any]:
    """Return the summary as plain values; the keys are part of the interface.

    recording, recording_digest
        file as named by the user, and SHA-256 (hex) of its content
    torque, speed_error
        which channels were taken, in words of the file's names
    sample_rate_hz, duration_s
    band_from_hz
        -3 dB frequency of the detector's high-pass
    lowest_oscillation_hz
        frequency at which the drive's own lag reaches 90 degrees; 10 of its periods make a ring
        block and 1.2 a burst block
    settled_s
        time before which the filter settles and nothing is judged
    thresholds
        ``burst_per_unit``, ``silence_per_unit``: amplitudes with level 256;
        ``burst_source``, ``silence_source``: "given" or "quiet part";
        ``quiet_part_s``: start and end, or null; ``quiet_factor``: or null
    quiet_part
        null without one, else ``chosen_by`` ("recording" or "user"), ``sureness`` ("sure", "fair",
        "poor" or "stated"), ``agreement``: share of the comparable windows that are as strong
        within a factor of two, ``windows``: how many they were, ``speed_per_unit``: mean speed in
        the part; null where not known
    verdict
        "onset"; "quiet": the axis moves and nothing grows; "not known": the recording gives no
        ground for either
    reasons
        why, as sentences
    onset, onset_time_s, onset_cause, onset_frequency_hz
        whether onset was seen (false is not quiet: see ``verdict``), when (first sample at 0), by
        "burst" or "ringing", and at which frequency; null where there was none
    growth
        the oscillation behind an onset that a quiet part showed: ``from_s``, ``to_s``,
        ``frequency_hz``, ``factor`` by which its amplitude grew in that time (null for a line that
        was there at once); null otherwise
    burst_level_max, ring_level_max
        ``level`` (256 = threshold) and ``time_s`` of the strongest block, or null
    detector_settings_digest
        SHA-256 (hex) over the integers that the exported detector ran with
    """
    recording, band, thresholds = listening.recording, listening.band, listening.thresholds
    onset, quiet = listening.onset, listening.thresholds.quiet
    return {
        "recording": recording.file,
        "recording_digest": hashlib.sha256(Path(recording.file).read_bytes()).hexdigest(),
        "torque": recording.torque_name,
        "speed_error": recording.speed_error_name,
        "sample_rate_hz": _rounded(recording.sample_rate_hz),
        "duration_s": _rounded(recording.duration_s),
        "band_from_hz": _rounded(band.corner_hz),
        "lowest_oscillation_hz": _rounded(band.lowest_oscillation_hz),
        "settled_s": _rounded(band.settling_s),
        "thresholds": {
            "burst_per_unit": _rounded(thresholds.burst.amplitude_per_unit),
            "burst_source": _source(thresholds.burst),
            "silence_per_unit": _rounded(thresholds.silence.amplitude_per_unit),
            "silence_source": _source(thresholds.silence),
            "quiet_part_s": [_rounded(quiet.from_s), _rounded(quiet.to_s)] if quiet else None,
            "quiet_factor": listening.options.quiet_factor if quiet else None,
        },
        "quiet_part": _quiet_part(quiet),
        "verdict": listening.verdict.value,
        "reasons": list(listening.reasons),
        "onset": onset is not None,
        "onset_time_s": _rounded(onset.time_s) if onset else None,
        "onset_cause": onset.cause.value if onset else None,
        "onset_frequency_hz": _frequency(listening),
        "growth": _growth(listening.grown),
        "burst_level_max": _level(listening.burst, band.settling_s),
        "ring_level_max": _level(listening.ring, band.settling_s),
        "detector_settings_digest": _settings_digest(listening),
    }


def summary_text(listening: Listening) -> str:
    """Return the summary in words and units, without colour."""
    recording, band = listening.recording, listening.band
    lines = [
        (
            "Recording",
            f"{recording.file}, {recording.duration_s:.6g} s at {recording.sample_rate_hz:.6g} Hz",
        ),
        (
            "Signals",
            f"torque from {recording.torque_name}; speed error from {recording.speed_error_name}",
        ),
        (
            "Band",
            f"from {band.corner_hz:.4g} Hz; blocks sized for oscillations from "
            f"{band.lowest_oscillation_hz:.4g} Hz on",
        ),
        ("Burst", _threshold_text(listening, listening.thresholds.burst, "torque")),
        ("Silence", _threshold_text(listening, listening.thresholds.silence, "speed error")),
        ("Quiet part", _quiet_text(listening)),
        ("Verdict", _verdict_text(listening)),
        ("Onset", _onset_text(listening)),
        ("Torque", _strongest_text(listening.burst, band.settling_s)),
        ("Speed error", _strongest_text(listening.ring, band.settling_s)),
    ]
    return "\n".join(f"{title:<12} {text}" for title, text in lines)


def levels_csv(listening: Listening) -> str:
    """Return the levels as a table: one row per burst block, with the ring level of that time."""
    burst, ring = listening.burst, listening.ring
    latest = np.searchsorted(ring.ends_s, burst.ends_s, side="right") - 1
    rows = ["time_s,burst_level,ring_level"]
    for time_s, level, index in zip(burst.ends_s, burst.values, latest, strict=True):
        heard = int(ring.values[index]) if index >= 0 else 0
        rows.append(f"{time_s:.{_DIGITS}g},{int(level)},{heard}")
    return "\n".join(rows) + "\n"


def _threshold_text(listening: Listening, threshold: Threshold, channel: str) -> str:
    amplitude = f"threshold {threshold.amplitude_per_unit:.3g} per unit of {channel}"
    quiet = listening.thresholds.quiet
    if not threshold.calibrated or quiet is None:
        return f"{amplitude}, as given"
    return (
        f"{amplitude}, {listening.options.quiet_factor:g} times the strongest block between "
        f"{quiet.from_s:.3g} s and {quiet.to_s:.3g} s"
    )


def _quiet_text(listening: Listening) -> str:
    quiet = listening.thresholds.quiet
    if quiet is None:
        return "none"
    times = f"{quiet.from_s:.4g} s to {quiet.to_s:.4g} s"
    if quiet.agreement is None:
        return f"{times}, as stated"
    speed = "" if quiet.speed is None else f", mean speed {quiet.speed:.3g} per unit"
    return (
        f"{times}{speed}; found in the recording, {quiet.sureness}: {quiet.agreement:.0%} of "
        f"{quiet.windows} comparable windows are as strong"
    )


def _verdict_text(listening: Listening) -> str:
    return f"{listening.verdict.value}: {'; '.join(listening.reasons)}"


def _onset_text(listening: Listening) -> str:
    onset = listening.onset
    if onset is None:
        return "none seen"
    what = "burst of the torque"
    if onset.cause is OnsetCause.RINGING:
        what = "ringing that does not decay"
    return f"at {onset.time_s:.4f} s, near {listening.onset_frequency_hz:.4g} Hz: {what}"


def _strongest_text(blocks: Blocks, settled_s: float) -> str:
    found = strongest(blocks, settled_s)
    if found is None:
        return "no complete block"
    level, time_s = found
    if level == 0:
        return "below every level"
    decibels = 10.0 * math.log10(level / LEVEL_ONE)
    side = "above" if decibels >= 0.0 else "below"
    return (
        f"strongest block at {time_s:.4g} s, {abs(decibels):.1f} dB {side} its threshold "
        f"(level {level} of {LEVEL_ONE})"
    )


def _level(blocks: Blocks, settled_s: float) -> dict[str, float] | None:
    found = strongest(blocks, settled_s)
    return None if found is None else {"level": found[0], "time_s": _rounded(found[1])}


def _frequency(listening: Listening) -> float | None:
    frequency_hz = listening.onset_frequency_hz
    return None if frequency_hz is None else float(f"{frequency_hz:.4g}")


def _quiet_part(quiet: QuietPart | None) -> dict[str, Any] | None:
    if quiet is None:
        return None
    return {
        "chosen_by": "recording" if quiet.found else "user",
        "sureness": quiet.sureness,
        "agreement": None if quiet.agreement is None else _rounded(quiet.agreement),
        "windows": quiet.windows,
        "speed_per_unit": None if quiet.speed is None else _rounded(quiet.speed),
    }


def _growth(grown: Grown | None) -> dict[str, float | None] | None:
    if grown is None:
        return None
    line = grown.line
    return {
        "from_s": _rounded(line.from_s),
        "to_s": _rounded(line.to_s),
        "frequency_hz": float(f"{line.frequency_hz:.4g}"),
        "factor": float(f"{line.factor:.4g}") if isinstance(line, Growth) else None,
    }


def _source(threshold: Threshold) -> str:
    return "quiet part" if threshold.calibrated else "given"


def _settings_digest(listening: Listening) -> str:
    settings = listening.settings
    words = [
        [section.as_tuple() for section in settings.sections],
        canonical(settings.ring),
        canonical(settings.burst),
    ]
    return hashlib.sha256(json.dumps(words).encode("ascii")).hexdigest()


def _rounded(value: float) -> float:
    """Return the value to nine digits: what lies beyond may differ from one system to another."""
    return float(f"{value:.{_DIGITS}g}")
