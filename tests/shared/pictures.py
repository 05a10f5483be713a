"""Records without pictures, which take longer than the rehearsals that they show."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

import pytest

from gainwright_sim.rehearsal import record


@contextlib.contextmanager
def without_pictures() -> Iterator[None]:
    """Leave empty files where pictures would be: for tests that look at none."""
    with pytest.MonkeyPatch.context() as patch:
        for target in ("save_picture", "save_responses", "save_load_picture"):
            patch.setattr(record, target, lambda path, *_: path.write_bytes(b""))
        yield
