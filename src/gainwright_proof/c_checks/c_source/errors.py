"""What the analysis of C source cannot do."""

from __future__ import annotations

from typing import Any


class UnsupportedC(Exception):
    """C that the analysis does not understand; names the place."""

    def __init__(self, what: str, node: Any = None) -> None:
        place = f"{node.coord}: " if node is not None and getattr(node, "coord", None) else ""
        super().__init__(f"{place}{what}")
