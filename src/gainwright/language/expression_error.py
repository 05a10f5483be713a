"""What is wrong with one expression: found, expected, remedy."""

from __future__ import annotations


class ExpressionError(Exception):
    """An expression that cannot be used; ``place_in_text`` names the column if it is known."""

    def __init__(self, found: str, expected: str, remedy: str, column: int = 0) -> None:
        """``column`` counts from 1; 0 means that the whole expression is meant."""
        self.found = found
        self.expected = expected
        self.remedy = remedy
        self.column = column
        where = f"column {column}: " if column else ""
        super().__init__(f"{where}{found}; expected {expected}; {remedy}")

    @property
    def place_in_text(self) -> str:
        return f"column {self.column}" if self.column else ""
