"""The digest of a trial: SHA-256 over its meaning, not over its layout or comments."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from typing import Any

from gainwright.language.model import Trial

RESERVATION = "rehearsals_only"
"""Left out where it is empty."""


def trial_digest(trial: Trial) -> str:
    """Return the SHA-256 (hex, 64 characters) over the canonical JSON of the trial."""
    text = json.dumps(canonical(trial), ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def canonical(value: object) -> Any:
    """Return lists and plain values that determine the meaning; the digest itself is left out.

    Mappings become lists of pairs sorted by name, since the order of outputs and actions has no
    meaning; tuples keep their order, which fixes indices in the exported C.
    """
    if isinstance(value, Enum):
        return value.value
    if (names := _meant(type(value))) is not None:
        own = ((name, getattr(value, name)) for name in names)
        return [type(value).__name__, *([k, canonical(v)] for k, v in own if k != RESERVATION or v)]
    if isinstance(value, Mapping):
        return [[key, canonical(value[key])] for key in sorted(value)]
    if isinstance(value, tuple):
        return [canonical(item) for item in value]
    if value is None or isinstance(value, str | int | float):
        return value
    raise TypeError(f"no canonical form of {type(value).__name__}")


@cache
def _meant(kind: type) -> tuple[str, ...] | None:
    """Return the fields of a dataclass that have a meaning; None of another type."""
    if not is_dataclass(kind):
        return None
    return tuple(field.name for field in fields(kind) if field.name != "digest")
