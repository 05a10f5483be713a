"""Unit suffixes that users write instead of the SI one, and the factor that mends them."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable

_RPM = 2.0 * math.pi / 60.0

SUFFIXES: dict[str, dict[str, float]] = {
    "kgm2": {"gcm2": 1e-7, "kgcm2": 1e-4, "kgmm2": 1e-6, "gm2": 1e-3},
    "kg": {"g": 1e-3, "t": 1e3},
    "m": {"mm": 1e-3, "cm": 1e-2, "um": 1e-6},
    "m_per_s": {"mm_per_s": 1e-3, "m_per_min": 1.0 / 60.0},
    "m_per_s2": {"mm_per_s2": 1e-3, "g": 9.80665},
    "m_per_s3": {"mm_per_s3": 1e-3},
    "nm": {"ncm": 1e-2, "mnm": 1e-3, "knm": 1e3},
    "n": {"kn": 1e3, "mn": 1e-3},
    "n_per_m": {"n_per_mm": 1e3, "n_per_um": 1e6, "kn_per_m": 1e3},
    "ns_per_m": {"ns_per_mm": 1e3},
    "nm_per_rad": {"nm_per_deg": 180.0 / math.pi, "knm_per_rad": 1e3},
    "nms_per_rad": {"nms_per_deg": 180.0 / math.pi, "nm_per_rpm": 1.0 / _RPM},
    "rad": {"deg": math.pi / 180.0, "turns": 2.0 * math.pi, "rev": 2.0 * math.pi},
    "rad_per_s": {"rpm": _RPM, "deg_per_s": math.pi / 180.0, "turns_per_s": 2.0 * math.pi,
                  "rev_per_s": 2.0 * math.pi},
    "rad_per_s2": {"rpm_per_s": _RPM, "deg_per_s2": math.pi / 180.0},
    "rad_per_s3": {"deg_per_s3": math.pi / 180.0},
    "s": {"ms": 1e-3, "us": 1e-6, "ns": 1e-9},
    "per_s": {"per_min": 1.0 / 60.0, "per_ms": 1e3},
    "per_unit": {"percent": 1e-2},
}  # fmt: skip
"""SI suffix of a key -> {suffix users write -> factor to SI}."""


def split_unit(name: str) -> tuple[str, str]:
    """Return (quantity, SI unit suffix) of a key of ours; the suffix is "" where there is none."""
    for suffix in sorted(SUFFIXES, key=len, reverse=True):
        if name.endswith("_" + suffix):
            return name[: -len(suffix) - 1], suffix
    return name, ""


def same_quantity(unknown: str, allowed: Iterable[str]) -> tuple[str, float | None] | None:
    """Return (the allowed key for the same quantity, factor) if only the unit suffix is wrong.

    The factor converts a value in the unit that was written to SI; ``None`` if it is not known.
    """
    candidates = [(name, *split_unit(name)) for name in allowed]
    for name, quantity, suffix in candidates:
        for foreign, factor in SUFFIXES.get(suffix, {}).items():
            if unknown == f"{quantity}_{foreign}":
                return name, factor
    for name, quantity, suffix in candidates:
        if suffix and unknown == quantity:
            return name, None
    # A slip in the name and in the unit at once, e.g. inertia_gcm2 for motor_inertia_kgm2.
    for name, quantity, suffix in candidates:
        for foreign, factor in SUFFIXES.get(suffix, {}).items():
            stem = unknown.removesuffix("_" + foreign)
            if stem != unknown and (
                quantity.endswith("_" + stem)
                or difflib.SequenceMatcher(None, stem, quantity).ratio() > 0.8
            ):
                return name, factor
    return None
