"""Where the open measured recordings lie: the folder GAINWRIGHT_DATA, or ../shared/data."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

_REPOSITORY = Path(__file__).resolve().parents[2]


def recorded_file(name: str) -> Path:
    """Return the path of a recording, or skip the test with the reason."""
    named = os.environ.get("GAINWRIGHT_DATA")
    folder = Path(named) if named else _REPOSITORY.parent / "shared" / "data"
    path = folder / name
    if not path.is_file():
        where = "GAINWRIGHT_DATA" if named else "../shared/data (or set GAINWRIGHT_DATA)"
        pytest.skip(f"open recording {name} is not in {where}")
    return path
