"""Keeps the per-user cache within a size: what was used last stays."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path

MOST_BYTES = 1 << 30
"""Of all entries; the shipped trials, machines and their proofs together take a tenth."""
RECENT_S = 3600.0
"""An entry that was used so lately stays: another process may be about to load it."""
LEFT_OVER_S = 86_400.0
"""A folder in which an entry was being built so long ago belongs to nobody any more."""


def note_use(product: Path) -> None:
    """Note that an entry is used now; where that cannot be written it is left."""
    try:
        product.parent.touch()
    except OSError:
        return


def keep_within(root: Path, own: str, most_bytes: int = MOST_BYTES) -> None:
    """Remove entries of a cache, those that were not used for longest first, until it fits.

    Folders that are no entries stay, but for those that a build left behind. Whoever misses a
    removed entry builds it again.

    Args:
        root: folder of the cache.
        own: name of a file that every entry has, and nothing else.
        most_bytes: that all entries may take together.
    """
    now = time.time()
    entries: list[tuple[float, int, Path]] = []
    for folder in root.iterdir():
        try:
            used = folder.stat().st_mtime
            if folder.name.startswith("."):
                if now - used > LEFT_OVER_S:
                    shutil.rmtree(folder, ignore_errors=True)
            elif (folder / own).is_file():
                entries.append((used, _bytes(folder), folder))
        except OSError:
            continue  # Another process removes it at this moment.
    excess = sum(size for _, size, _ in entries) - most_bytes
    for used, size, folder in sorted(entries):
        if excess <= 0 or now - used < RECENT_S:
            return
        shutil.rmtree(folder, ignore_errors=True)
        excess -= size


def _bytes(folder: Path | str) -> int:
    with os.scandir(folder) as found:  # after each build, over all entries: paths would take long
        return sum(
            _bytes(entry.path) if entry.is_dir(follow_symlinks=False) else entry.stat().st_size
            for entry in found
        )
