"""What was probably meant by a name that is not known."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest(unknown: str, known: Iterable[str]) -> str | None:
    """Return the known name that looks most like the unknown one, if any does."""
    found = difflib.get_close_matches(unknown, list(known), n=1)
    return found[0] if found else None


def suggestion(
    unknown: str, known: Iterable[str], otherwise: str = "declare it or remove it"
) -> str:
    """Return a remedy for an unknown name: the nearest known one, if there is any."""
    near = nearest(unknown, known)
    return f"did you mean '{near}'?" if near else otherwise
