"""The shipped trial with shorter times and ladder: the same machine with fewer states.

For comparisons with tools that the trial itself would keep busy for too long.
"""

from __future__ import annotations

import math
import tomllib
from functools import cache
from typing import Any

from gainwright.language.load import trial_from_document
from gainwright.language.model import Trial
from gainwright.language.shipped import shipped_trial_path

TOP_RUNG, MARGIN_RUNGS, RATIO = 31, 4, 1.19
"""A ladder of 32 rungs; 1.19**-4 = 0.499 keeps the margin of one half."""

WITH_LITERALS = ("motion_is_never_watched_for_nothing", "noise_limit_keeps_its_reserve")
"""Requirements that hold times or rungs against numbers of their own."""


@cache
def shortened_trial(divisor: int) -> Trial:
    """Return the shipped trial with every time divided, rounded up, and a ladder of 32 rungs."""
    document = shortened_document(divisor)
    return trial_from_document(document, f"standard with times divided by {divisor}")


def shortened_document(divisor: int) -> dict[str, Any]:
    """Return the same as the document of a trial file."""
    document: dict[str, Any] = tomllib.loads(shipped_trial_path().read_text(encoding="utf-8"))
    constants = document["constants"]
    for constant in constants.values():
        if constant["unit"] == "ticks":
            constant["value"] = math.ceil(constant["value"] / divisor)
    constants["top_rung"]["value"] = TOP_RUNG
    constants["margin_rungs"]["value"] = MARGIN_RUNGS
    document["stages"]["speed_gain"]["ratio"] = RATIO
    # What safety rests on has literals of its own, which a shortened trial cannot keep.
    document["requirements"] = {
        name: entry
        for name, entry in document["requirements"].items()
        if not name.endswith("_as_stated") and name not in WITH_LITERALS
    }
    document["trial"]["name"] = f"standard_shortened_{divisor}"
    return document
