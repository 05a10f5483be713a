"""Where the open measured recordings lie: in the folder that GAINWRIGHT_DATA names."""

from __future__ import annotations

import os
from pathlib import Path

import pytest


def recorded_file(name: str) -> Path:
    """Return the path of a recording, or skip the test with the reason."""
    named = os.environ.get("GAINWRIGHT_DATA")
    if not named:
        pytest.skip("GAINWRIGHT_DATA is not set: DEVELOPERS.md says which recordings it may name")
    path = Path(named) / name
    if not path.is_file():
        pytest.skip(f"open recording {name} is not in GAINWRIGHT_DATA, {named}")
    return path
