"""What an earlier search for proofs of the same trial found, so that it need not be searched again.

A hint is believed by nobody: it is a fact, a rank, or the choice of facts for a question. What is
asked is made anew, with these, and decided by the solver as ever; a wrong hint leaves something
undecided, and then all is searched again. So a proof costs what checking costs.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import pickle
from collections.abc import Callable, Hashable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import gainwright
import gainwright_proof
from gainwright.language.model import Trial
from gainwright_codegen.host.cache import find, obtain

_PRODUCT = "hints"
_PACKAGES = ("z3-solver", "scipy", "numpy")
T = TypeVar("T")


class Hints:
    """What was found, by key; what is missing is looked for and kept."""

    def __init__(self, trial: Trial | None) -> None:
        """Without a trial nothing is known, and nothing is kept."""
        self._entry = "" if trial is None else f"hints-{_digest(trial)}"
        kept = find(self._entry, _PRODUCT) if trial is not None else None
        self._known: dict[Hashable, Any] = {}
        if kept is not None:
            self._known = pickle.loads(kept.read_bytes())
        self._found: dict[Hashable, Any] = {}

    @property
    def given(self) -> bool:
        """Whether anything is known."""
        return bool(self._known)

    def knows(self, key: Hashable) -> bool:
        return key in self._known

    def recall(self, key: Hashable, look: Callable[[], T]) -> T:
        """Return what is known, else what is found now."""
        found: T = self._known[key] if key in self._known else look()
        self._found[key] = found
        return found

    def keep(self) -> None:
        """Keep what this search needed for the next one."""
        if self._entry and not self._known:
            content = pickle.dumps(self._found)
            obtain(self._entry, _PRODUCT, lambda folder: _write(folder / _PRODUCT, content))


def _write(path: Path, content: bytes) -> None:
    path.write_bytes(content)


def _digest(trial: Trial) -> str:
    """Return a digest of what a search depends on: the trial as it stands, and what searches."""
    parts = [repr(trial), _sources(), *(f"{p} {importlib.metadata.version(p)}" for p in _PACKAGES)]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


@cache
def _sources() -> str:
    digest = hashlib.sha256()
    for package in (gainwright, gainwright_proof):
        for root in package.__path__:
            for path in sorted(Path(root).rglob("*.py")):
                digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()
