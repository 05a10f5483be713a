"""Cases of one kind: a few in every run, their siblings in the slow one."""

from __future__ import annotations

from collections.abc import Iterable

import pytest


def cases(always: Iterable, slow: Iterable) -> list:
    """Return parameters of a test; a tuple is one case of several arguments."""
    return [*always, *(pytest.param(*_several(case), marks=pytest.mark.slow) for case in slow)]


def _several(case: object) -> tuple:
    return case if isinstance(case, tuple) else (case,)
