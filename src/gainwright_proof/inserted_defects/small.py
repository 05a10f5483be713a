"""The trial that defects are inserted into: the shipped one, with less to try.

Times and ladder are short. A defect that is noticed with few requirements is noticed with all of
them, as they only add to what is judged and to the inputs that are tried: so few are kept, which
saves most of the time.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Any

from gainwright.language.load import trial_from_document
from gainwright.language.model import Trial
from gainwright_proof.exploration.shortened import shortened_document

_DIVISOR = 100
KEPT = (
    "idle_after_reset",
    "no_request_counts_after_reset",
    "fresh_start_only",
    "gain_raised_only_after_quiet",
    "permit_loss_withdraws_torque",
    "brake_open_only_with_torque",
    "target_is_an_end",
    "pulse_ends",
    "waits_have_bounds",
    "result_with_onset_possible",
)
"""One at least of every kind."""
_READ_A_NAME = ("target_inside_window", "hearing_is_what_it_is_called", "trial_ends")
"""Requirements that alone read a name of the file, which must not be there unread."""
_MERGED = {
    "hidden_blocks_needed": "decay_blocks_needed",
    "hidden_blocks_least": "decay_blocks_needed",
    "unseen_blocks_needed": "ring_blocks_needed",
    "noise_blocks_needed": "ring_blocks_needed",
    "strong_threshold": "lasting_threshold",
    "least_speed_share": "kept_speed_share",
}
"""Constants that have the value of another one: each doubles the inputs to try, or nearly."""


def small_document(
    divisor: int = _DIVISOR, requirements: Iterable[str] = KEPT, merged: bool = True
) -> dict[str, Any]:
    """Return the document of its file, to be changed at will.

    Args:
        divisor: of the times.
        requirements: those that are kept.
        merged: by :func:`merge_thresholds`.
    """
    document = shortened_document(divisor)
    keep_requirements(document, requirements)
    if merged:
        merge_thresholds(document)
    document["trial"]["name"] = "standard_small"
    return document


def merge_thresholds(document: dict[str, Any]) -> None:
    """Give thresholds of the shipped trial the value of another one, where nothing of its rows
    depends on their being two."""
    constants = document["constants"]
    for name, other in _MERGED.items():
        constants[name]["value"] = constants[other]["value"]
    constants["fading_decay"]["value"] = constants["slow_decay"]["value"] - 1  # <= and <


def keep_requirements(document: dict[str, Any], names: Iterable[str]) -> None:
    """Leave out of the document of the shipped trial all requirements but some, and hazards that
    none of these answers."""
    kept = {name: document["requirements"][name] for name in (*names, *_READ_A_NAME)}
    answered = {entry["hazard"] for entry in kept.values()}
    document["requirements"] = kept
    document["hazards"] = {k: v for k, v in document["hazards"].items() if k in answered}


@cache
def small_trial() -> Trial:
    """Return the trial."""
    return trial_from_document(small_document(), "standard with short times and requirements")
