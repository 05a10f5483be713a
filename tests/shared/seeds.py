"""Seeds of random trials: a few in every run, the others in the slow one."""

from __future__ import annotations

from collections.abc import Iterable

import pytest


def seeds(always: Iterable[int], slow: Iterable[int]) -> list:
    """Return parameters of a test."""
    return [*always, *(pytest.param(seed, marks=pytest.mark.slow) for seed in slow)]
