"""The shipped trial with times of a few ticks and a short ladder: every path in a second."""

from __future__ import annotations

import tomllib
from typing import Any

from gainwright.language.load import trial_from_document
from gainwright.language.model import Trial
from gainwright.language.shipped import shipped_trial_path

CUT_CONSTANTS = {
    "torque_build_up_ticks": 1,
    "brake_open_ticks": 1,
    "open_brake_timeout_ticks": 2,
    "brake_close_ticks": 1,
    "approach_timeout_ticks": 3,
    "reversal_ticks": 1,
    "move_timeout_ticks": 2,
    "noise_timeout_ticks": 2,
    "listen_timeout_ticks": 2,
    "settle_ticks": 1,
    "oscillation_limit_ticks": 1,
    "back_off_timeout_ticks": 2,
    "standstill_minimum_ticks": 1,
    "stop_timeout_ticks": 2,
    "top_rung": 4,
    "margin_rungs": 2,
    "verification_attempts": 2,
    "most_repeats": 2,
    "repeats_before_verification": 1,
    "noise_reserve_rungs": 1,
}
LITERALS = ("noise_limit_keeps_its_reserve",)
"""Requirements with literals of the trial as shipped, besides those whose names end so."""


def shipped_document() -> dict[str, Any]:
    return tomllib.loads(shipped_trial_path().read_text(encoding="utf-8"))


def cut_document() -> dict[str, Any]:
    """Return the shipped trial with times of a few ticks and a ladder of a few rungs."""
    document = shipped_document()
    for name, value in CUT_CONSTANTS.items():
        document["constants"][name]["value"] = value
    stated = [name for name in document["requirements"] if name.endswith("_as_stated")]
    for name in (*stated, *LITERALS):
        del document["requirements"][name]
    document["stages"]["speed_gain"]["ratio"] = 1.5  # keeps the margin with fewer rungs
    return document


def cut_trial() -> Trial:
    return trial_from_document(cut_document(), "cut.toml")
